/* Hypotheses of a beat compiled: `follow.py` says what they are, and has them in numpy where this
   couldn't be compiled. It needs Python's stable interface of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#include <Python.h>
#include <math.h>
#include <stdint.h>

#define BANDS 9

typedef struct {
    Py_ssize_t attacks;
    const double *seconds, *strength;
    const int64_t *earliest;
    double range, empty_beat, beat;
} Song;

typedef struct {
    double period, miss_price, adapt, edges[BANDS + 1]; /* between which the period of a band lies */
} Start;

typedef struct {
    double *score, *passed, *period; /* (attacks, BANDS) */
    int64_t *came;
} Found;

/* Let all hypotheses that reached an attack go on to a later one. */
static void go_on(const Song *s, const Start *start, const Found *f, int64_t from, int64_t now)
{
    double gap = s->seconds[now] - s->seconds[from];
    for (int b = 0; b < BANDS; b++) {
        double score = f->score[from * BANDS + b], old = f->period[from * BANDS + b];
        if (score == -INFINITY)
            continue;
        double beats = fmax(rint(gap / old), 1.0), miss = gap / old - beats;
        double gain = score - start->miss_price * (miss * miss) / beats - s->empty_beat * beats;
        double now_period = old * (1.0 + start->adapt * miss / beats);
        int band = b;
        while (band > 0 && now_period < start->edges[band])
            band--;
        while (band < BANDS - 1 && now_period > start->edges[band + 1])
            band++;
        int64_t cell = now * BANDS + band;
        if (now_period < start->edges[band] || now_period > start->edges[band + 1]
            || gain < f->score[cell])
            continue;
        f->score[cell] = gain;
        f->period[cell] = now_period;
        f->came[cell] = from * BANDS + b;
        f->passed[cell] = beats;
    }
}

static void follow(const Song *s, const Start *start, const Found *f)
{
    for (int64_t now = 0; now < s->attacks; now++) {
        int64_t cells = now * BANDS, middle = cells + BANDS / 2;
        for (int b = 0; b < BANDS; b++) {
            f->score[cells + b] = -INFINITY;
            f->period[cells + b] = start->period;
            f->came[cells + b] = -1;
            f->passed[cells + b] = 0;
        }
        for (int64_t from = s->earliest[now]; from < now; from++)
            go_on(s, start, f, from, now);
        for (int b = 0; b < BANDS; b++)
            f->score[cells + b] += s->empty_beat;
        double begin = -s->empty_beat * (s->seconds[now] - s->seconds[0]) / start->period;
        if (f->score[middle] < begin) {
            f->score[middle] = begin;
            f->period[middle] = start->period;
            f->came[middle] = -1;
        }
        for (int b = 0; b < BANDS; b++)
            f->score[cells + b] += s->strength[now] - s->beat;
    }
}

static int all(const Song *s, const double *starts, Py_ssize_t many, double *score, int64_t *came,
               double *passed)
{
    Py_ssize_t cells = s->attacks * BANDS;
    double *period = PyMem_Malloc(8 * (size_t)(cells + 1));
    if (!period)
        return 0;
    for (Py_ssize_t h = 0; h < many; h++) {
        Start start = {starts[3 * h], starts[3 * h + 1], starts[3 * h + 2], {0}};
        for (int b = 0; b <= BANDS; b++)
            start.edges[b] = start.period * exp((b - BANDS / 2 - 0.5) * (2 * s->range) / (BANDS - 1));
        Found found = {score + h * cells, passed + h * cells, period, came + h * cells};
        follow(s, &start, &found);
    }
    PyMem_Free(period);
    return 1;
}

static PyObject *followed(PyObject *self, PyObject *args)
{
    Py_buffer in[4], out[3];
    Song s;
    if (!PyArg_ParseTuple(args, "y*y*y*y*w*w*w*ddd", &in[0], &in[1], &in[2], &in[3], &out[0], &out[1],
                          &out[2], &s.range, &s.empty_beat, &s.beat))
        return NULL;
    s.attacks = in[0].len / 8;
    s.seconds = in[0].buf, s.strength = in[1].buf, s.earliest = in[2].buf;
    Py_ssize_t many = in[3].len / 24, whole = 8 * many * s.attacks * BANDS;
    int fits = in[1].len == in[0].len && in[2].len == in[0].len && in[3].len == 24 * many
        && out[0].len == whole && out[1].len == whole && out[2].len == whole;
    for (Py_ssize_t now = 0; fits && now < s.attacks; now++)
        fits = s.earliest[now] >= 0;
    if (!fits)
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    else if (!all(&s, in[3].buf, many, out[0].buf, out[1].buf, out[2].buf))
        PyErr_NoMemory();
    for (int i = 0; i < 7; i++)
        PyBuffer_Release(i < 4 ? &in[i] : &out[i - 4]);
    if (PyErr_Occurred())
        return NULL;
    Py_RETURN_NONE;
}

static PyMethodDef methods[] = {
    {"followed", followed, METH_VARARGS, "Write score, origin and beats passed of each hypothesis."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_follow", .m_methods = methods};

PyMODINIT_FUNC PyInit__follow(void)
{
    return PyModuleDef_Init(&module);
}
