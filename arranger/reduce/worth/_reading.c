/* What takes the time of the tune's network compiled: `tune_model.py` says what it is, and has it in
   numpy, which is used where this couldn't be compiled. Both come to the same but for the last
   bits of a sum, which differ from machine to machine anyway. Sums stand in as many vectors of eight
   as stay in registers, which takes a compiler that knows GNU's; other loops are such that compilers
   make vectors of them: no branches, and no sum over what lies side by side. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "e77e5164"
#include <Python.h>
#include <stdint.h>
#include <string.h>

#define UNITS 48
#define GATES (3 * UNITS)
#define NINE 0x41100000 /* the bits of 9.0f */
#define INSIDE static inline __attribute__((always_inline))

typedef float Eight __attribute__((vector_size(32), aligned(4), may_alias));

enum { NEAR = 25, TIMES = 12, EDGE = 14, MESSAGE = 24, KERNELS = 12, VALUES = 24 };
enum { GROUP = 8, PAIRS = GROUP * NEAR }; /* notes, and their neighbours, that are looked at together */

typedef struct {
    Py_ssize_t notes, chunk, warm_up;
    const float *asked;       /* (2, notes, GATES): what each note asks of the gates, either way */
    const float *nothing;     /* (2, GATES): what is asked anyway, also where there is no note */
    const float *keep, *bias; /* (2, UNITS, GATES), (2, GATES): what the state before asks */
    float *found;             /* (notes, 2, UNITS) */
} Reading;

/* The first of a note's NEAR neighbours stands at its own number. */
typedef struct {
    Py_ssize_t notes;
    const double *onset;
    const float *length, *pitch, *loudness, *log_length;
    const float *value; /* (NEAR - 1 + notes, VALUES + GROUP): behind the values 1, or 0 beside the song */
    const float *message, *message_bias, *kernel, *kernel_bias;
    float *seen; /* (notes, KERNELS, VALUES + 1) */
} Around;

INSIDE int32_t bits(float x)
{
    int32_t found;
    memcpy(&found, &x, sizeof found);
    return found;
}

INSIDE float number(int32_t bits)
{
    float found;
    memcpy(&found, &bits, sizeof found);
    return found;
}

/* tanh x = (1 - e) / (1 + e) with e = exp(-2 |x|), of which the powers of two are taken apart. */
INSIDE float squashed(float x)
{
    int32_t sign = bits(x) & INT32_MIN;
    int32_t size = bits(x) ^ sign;
    float y = 2 * number(size < NINE ? size : NINE); /* from there on it is 1 */
    int32_t twos = (int32_t)(y * 1.44269504f + 0.5f);
    float r = (float)twos * 0.693147181f - y;
    float e = 1 + r * (1 + r * (1 / 2.f + r * (1 / 6.f + r * (1 / 24.f + r * (1 / 120.f + r * (1 / 720.f))))));
    e *= number((127 - twos) << 23);
    return number(bits((1 - e) / (1 + e)) | sign);
}

/* Let a state hear one note. */
INSIDE void hear(float *restrict state, const float *restrict asked, const float *restrict nothing,
                 const float *restrict keep, const float *restrict bias)
{
    float kept[GATES], gates[GATES];
    memcpy(kept, bias, sizeof kept);
    for (int unit = 0; unit < UNITS; unit += 4) {
        const float *w = keep + unit * GATES;
        for (int j = 0; j < GATES; j++)
            kept[j] += state[unit] * w[j] + state[unit + 1] * w[GATES + j]
                + state[unit + 2] * w[2 * GATES + j] + state[unit + 3] * w[3 * GATES + j];
    }
    for (int j = 0; j < 2 * UNITS; j++)
        gates[j] = 0.5f + 0.5f * squashed(0.5f * (asked[j] + nothing[j] + kept[j]));
    for (int j = 0; j < UNITS; j++) {
        float fresh = squashed(asked[2 * UNITS + j] + nothing[2 * UNITS + j] + gates[j] * kept[2 * UNITS + j]);
        state[j] = fresh + gates[UNITS + j] * (state[j] - fresh);
    }
}

INSIDE void read_one_way(const Reading *r, int way)
{
    static const float silence[GATES];
    const float *nothing = r->nothing + way * GATES;
    float keep[UNITS * GATES] __attribute__((aligned(64))); /* else it may take half as long again */
    memcpy(keep, r->keep + way * UNITS * GATES, sizeof keep);
    for (Py_ssize_t begin = 0; begin < r->notes; begin += r->chunk) {
        float state[UNITS] = {0};
        for (Py_ssize_t at = begin - r->warm_up; at < begin + r->chunk && at < r->notes; at++) {
            Py_ssize_t note = way ? r->notes - 1 - at : at;
            const float *asked = at < 0 ? silence : r->asked + (way * r->notes + note) * GATES;
            hear(state, asked, nothing, keep, r->bias + way * GATES);
            if (at >= begin)
                memcpy(r->found + (2 * note + way) * UNITS, state, sizeof state);
        }
    }
}

/* Write where the neighbours of a group's notes lie: `distances`. */
INSIDE void measure(const Around *a, Py_ssize_t first, float where[EDGE][PAIRS])
{
    static const float per[TIMES] = {1 / 0.05, 1 / 0.3, 1 / 1.5, 1 / 0.1, 1 / 0.6, 1 / 0.1,
                                     1 / 0.6, 1 / 0.3, 1 / 1.5, 1 / 5.0, 1 / 14.0, 1 / 1.5};
    for (int i = 0; i < GROUP; i++) {
        Py_ssize_t note = first + i < a->notes ? first + i : a->notes - 1, own = note + NEAR / 2;
        for (int j = 0; j < NEAR; j++) {
            int at = i * NEAR + j;
            float start = (float)(a->onset[note + j] - a->onset[own]), stop = start + a->length[note + j];
            float interval = a->pitch[note + j] - a->pitch[own], octaves = interval / 12;
            where[0][at] = where[1][at] = where[2][at] = start;
            where[3][at] = where[4][at] = stop;
            where[5][at] = where[6][at] = start - a->length[own];
            where[7][at] = stop - a->length[own];
            where[8][at] = where[9][at] = where[10][at] = interval;
            where[11][at] = a->log_length[note + j] - a->log_length[own];
            where[12][at] = octaves == (float)(int)octaves ? 1 : 0;
            where[13][at] = 4 * (a->loudness[note + j] - a->loudness[own]);
        }
    }
    for (int row = 0; row < TIMES; row++)
        for (int at = 0; at < PAIRS; at++)
            where[row][at] = squashed(where[row][at] * per[row]);
}

/* Put out twelve sums of the weighted inputs of eight pairs. */
INSIDE void mix(Eight *out, const float *in, int apart, int many, const float *weights, int outs,
                const float *bias)
{
    Eight sums[12] = {{0}};
    for (int k = 0; k < many; k++)
        for (int i = 0; i < 12; i++)
            sums[i] += *(const Eight *)(in + k * apart) * weights[k * outs + i];
    for (int i = 0; i < 12; i++)
        out[i] = sums[i] + bias[i];
}

/* Add up the values of a note's neighbours by each kernel, three of them at a time. */
INSIDE void add_up(float kernel[KERNELS][PAIRS], int at, const float *value, float *seen)
{
    enum { MANY = VALUES / 8 + 1 };
    for (int k = 0; k < KERNELS; k += 3) {
        Eight sums[3][MANY] = {{{0}}};
        for (int j = 0; j < NEAR; j++)
            for (int i = 0; i < MANY; i++)
                for (int l = 0; l < 3; l++)
                    sums[l][i] += kernel[k + l][at + j] * ((const Eight *)(value + j * 8 * MANY))[i];
        for (int l = 0; l < 3; l++)
            memcpy(seen + (k + l) * (VALUES + 1), sums[l], (VALUES + 1) * sizeof(float));
    }
}

INSIDE void look(const Around *a)
{
    float where[EDGE][PAIRS], kernel[KERNELS][PAIRS];
    for (Py_ssize_t first = 0; first < a->notes; first += GROUP) {
        measure(a, first, where);
        for (int at = 0; at < PAIRS; at += 8) {
            Eight message[MESSAGE], found[KERNELS];
            for (int half = 0; half < MESSAGE; half += 12)
                mix(message + half, where[0] + at, PAIRS, EDGE, a->message + half, MESSAGE, a->message_bias + half);
            for (int i = 0; i < 8 * MESSAGE; i++)
                ((float *)message)[i] = ((float *)message)[i] > 0 ? ((float *)message)[i] : 0;
            mix(found, (float *)message, 8, MESSAGE, a->kernel, KERNELS, a->kernel_bias);
            for (int k = 0; k < KERNELS; k++)
                memcpy(kernel[k] + at, found + k, sizeof found[k]);
        }
        for (int i = 0; i < GROUP && first + i < a->notes; i++)
            add_up(kernel, i * NEAR, a->value + (first + i) * (VALUES + 8),
                   a->seen + (first + i) * KERNELS * (VALUES + 1));
    }
}

/* All thrice: where the processor has wide vectors, they take a third of the time. */
#define COMPILED(name, target) \
    target static void read_##name(const Reading *r) { read_one_way(r, 0), read_one_way(r, 1); } \
    target static void look_##name(const Around *a) { look(a); }

COMPILED(plain, )
#if defined(__x86_64__)
COMPILED(wide, __attribute__((target("avx2,fma"))))
COMPILED(wider, __attribute__((target("avx512f,avx512vl,avx512dq,fma"))))
#define HAS __builtin_cpu_supports
#define WIDTH (!HAS("avx2") || !HAS("fma") ? 0 : !HAS("avx512vl") || !HAS("avx512dq") ? 1 : 2)
#define EACH(name) {name##_plain, name##_wide, name##_wider}
#else
#define WIDTH 0
#define EACH(name) {name##_plain}
#endif

static void (*const reads[])(const Reading *) = EACH(read), (*const looks[])(const Around *) = EACH(look);

static PyObject *done(int fits, Py_buffer *buffers, int many)
{
    for (int i = 0; i < many; i++)
        PyBuffer_Release(&buffers[i]);
    if (fits)
        Py_RETURN_NONE;
    PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    return NULL;
}

static PyObject *read_both_ways(PyObject *self, PyObject *args)
{
    Py_buffer b[5];
    Py_ssize_t chunk, warm_up;
    if (!PyArg_ParseTuple(args, "y*y*y*y*w*nn", &b[0], &b[1], &b[2], &b[3], &b[4], &chunk, &warm_up))
        return NULL;
    Py_ssize_t notes = b[4].len / (8 * UNITS);
    Reading r = {notes, chunk, warm_up, b[0].buf, b[1].buf, b[2].buf, b[3].buf, b[4].buf};
    int fits = b[0].len == 8 * notes * GATES && b[1].len == 8 * GATES && b[2].len == 8 * UNITS * GATES
        && b[3].len == 8 * GATES && chunk > 0 && warm_up >= 0;
    if (fits)
        reads[WIDTH](&r);
    return done(fits, b, 5);
}

static PyObject *look_around(PyObject *self, PyObject *args)
{
    Py_buffer b[11];
    if (!PyArg_ParseTuple(args, "y*y*y*y*y*y*y*y*y*y*w*", &b[0], &b[1], &b[2], &b[3], &b[4], &b[5], &b[6],
                          &b[7], &b[8], &b[9], &b[10]))
        return NULL;
    Py_ssize_t notes = b[10].len / (4 * KERNELS * (VALUES + 1)), all = notes + NEAR - 1;
    Around a = {notes, b[0].buf, b[1].buf, b[2].buf, b[3].buf, b[4].buf, b[5].buf,
                b[6].buf, b[7].buf, b[8].buf, b[9].buf, b[10].buf};
    int fits = b[0].len == 8 * all && b[5].len == 4 * all * (VALUES + 8) && b[6].len == 4 * EDGE * MESSAGE
        && b[7].len == 4 * MESSAGE && b[8].len == 4 * MESSAGE * KERNELS && b[9].len == 4 * KERNELS;
    for (int i = 1; i < 5; i++)
        fits = fits && b[i].len == 4 * all;
    if (fits)
        looks[WIDTH](&a);
    return done(fits, b, 11);
}

static PyMethodDef methods[] = {
    {"look_around", look_around, METH_VARARGS, "Write what stands around each note, added up by where it lies."},
    {"read_both_ways", read_both_ways, METH_VARARGS, "Write the states of the units after each note."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_reading", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__reading(void)
{
    return PyModuleDef_Init(&module);
}
