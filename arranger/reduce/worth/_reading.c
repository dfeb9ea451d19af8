/* The recurrent units of the tune's network compiled: `tune_model.py` says what they are, and has
   them in numpy, which is used where this couldn't be compiled. Both come to the same but for the last
   bits of a sum, which differ from machine to machine anyway. Loops are such that compilers make
   vectors of them: no branches, and no sum over what lies side by side. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "f7037bf6"
#include <Python.h>
#include <stdint.h>
#include <string.h>

#define UNITS 48
#define GATES (3 * UNITS)
#define NINE 0x41100000 /* the bits of 9.0f */

#if defined(__GNUC__)
#define INSIDE static inline __attribute__((always_inline))
#else
#define INSIDE static inline
#endif

typedef struct {
    Py_ssize_t notes, chunk, warm_up;
    const float *asked;       /* (2, notes, GATES): what each note asks of the gates, either way */
    const float *nothing;     /* (2, GATES): what is asked where there is no note */
    const float *keep, *bias; /* (2, UNITS, GATES), (2, GATES): what the state before asks */
    float *found;             /* (notes, 2, UNITS) */
} Reading;

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
INSIDE void hear(float *restrict state, const float *restrict asked, const float *restrict keep,
                 const float *restrict bias)
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
        gates[j] = 0.5f + 0.5f * squashed(0.5f * (asked[j] + kept[j]));
    for (int j = 0; j < UNITS; j++) {
        float fresh = squashed(asked[2 * UNITS + j] + gates[j] * kept[2 * UNITS + j]);
        state[j] = fresh + gates[UNITS + j] * (state[j] - fresh);
    }
}

INSIDE void read_one_way(const Reading *r, int way)
{
    const float *nothing = r->nothing + way * GATES;
    for (Py_ssize_t begin = 0; begin < r->notes; begin += r->chunk) {
        float state[UNITS] = {0};
        for (Py_ssize_t at = begin - r->warm_up; at < begin + r->chunk && at < r->notes; at++) {
            Py_ssize_t note = way ? r->notes - 1 - at : at;
            const float *asked = at < 0 ? nothing : r->asked + (way * r->notes + note) * GATES;
            hear(state, asked, r->keep + way * UNITS * GATES, r->bias + way * GATES);
            if (at >= begin)
                memcpy(r->found + (2 * note + way) * UNITS, state, sizeof state);
        }
    }
}

/* The same twice: where the processor has wide vectors, they take a third of the time. */
static void read_notes(const Reading *r)
{
    read_one_way(r, 0);
    read_one_way(r, 1);
}

#if defined(__x86_64__) && defined(__GNUC__)
__attribute__((target("avx2,fma"))) static void read_notes_wide(const Reading *r)
{
    read_one_way(r, 0);
    read_one_way(r, 1);
}
#define IS_WIDE (__builtin_cpu_supports("avx2") && __builtin_cpu_supports("fma"))
#else
#define read_notes_wide read_notes
#define IS_WIDE 0
#endif

static PyObject *read_both_ways(PyObject *self, PyObject *args)
{
    Py_buffer in[4], out;
    Py_ssize_t chunk, warm_up;
    if (!PyArg_ParseTuple(args, "y*y*y*y*w*nn", &in[0], &in[1], &in[2], &in[3], &out, &chunk, &warm_up))
        return NULL;
    Py_ssize_t notes = out.len / (8 * UNITS);
    Reading r = {notes, chunk, warm_up, in[0].buf, in[1].buf, in[2].buf, in[3].buf, out.buf};
    int fits = in[0].len == 8 * notes * GATES && in[1].len == 8 * GATES
        && in[2].len == 8 * UNITS * GATES && in[3].len == 8 * GATES && chunk > 0 && warm_up >= 0;
    if (fits)
        (IS_WIDE ? read_notes_wide : read_notes)(&r);
    else
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    for (int i = 0; i < 5; i++)
        PyBuffer_Release(i < 4 ? &in[i] : &out);
    if (!fits)
        return NULL;
    Py_RETURN_NONE;
}

static PyMethodDef methods[] = {
    {"read_both_ways", read_both_ways, METH_VARARGS, "Write the states of the units after each note."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_reading", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__reading(void)
{
    return PyModuleDef_Init(&module);
}
