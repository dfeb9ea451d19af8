/* The optimum compiled: `optimum.py` says what it is, and finds the same with numpy.

   Costs are whole numbers, so both come to the same sums and take the same one of equals. Where no
   compiler is, this is left out. It needs Python's stable interface of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "659f05a5"
#include <Python.h>
#include <stdint.h>

typedef int64_t num;
typedef struct {
    Py_ssize_t segments, cells;
    const num *counts, *sides, *places; /* see Layout in price.py */
    const num *node, *move1, *move2;
} Problem;

/* Whether every segment has its costs within the arrays. */
static int fits(const Problem *p)
{
    num before = 1;
    for (Py_ssize_t t = 0; t < p->segments; t++) {
        num now = p->counts[t], side = p->sides[t], place = p->places[t];
        if (now < 1 || side < now || side < before || side > 1 << 20 || place < 0
            || place > p->cells - side * side)
            return 0;
        before = now;
    }
    return p->segments > 0;
}

/* Write the least sums of one of `m` rows of costs and what leads to it; `step` lies between these. */
static void least(num m, num n, const num *led, num step, const num *costs, num side, num *found)
{
    for (num j = 0; j < n; j++)
        found[j] = led[0] + costs[j];
    for (num i = 1; i < m; i++)
        for (num j = 0; j < n; j++) {
            num sum = led[i * step] + costs[i * side + j];
            found[j] = sum < found[j] ? sum : found[j];
        }
}

/* The first of the least sums. */
static num first(num m, const num *led, num step, const num *costs, num side)
{
    num best = 0;
    for (num i = 1; i < m; i++)
        if (led[i * step] + costs[i * side] < led[best * step] + costs[best * side])
            best = i;
    return best;
}

static void forward(const Problem *p, num *reached, num *halves)
{
    const num origin = 0, *state = &origin;
    num m = 1, old = 1;
    for (Py_ssize_t t = 0; t < p->segments; t++) {
        num n = p->counts[t], side = p->sides[t], place = p->places[t];
        num *half = halves + place, *now = reached + place;
        for (num b = 0; b < m; b++)
            least(m, n, state + b, old, p->move1 + place, side, half + b * side);
        for (num a = 0; a < n; a++) {
            least(m, n, half + a, side, p->move2 + place, side, now + a * side);
            for (num b = 0; b < n; b++)
                now[a * side + b] += p->node[place + a * side + b];
        }
        state = now;
        m = n;
        old = side;
    }
}

static num back(const Problem *p, const num *reached, const num *halves, num *slots1, num *slots2)
{
    Py_ssize_t t = p->segments - 1;
    num n = p->counts[t], side = p->sides[t];
    const num *last = reached + p->places[t];
    num a = 0, b = 0;
    for (num i = 0; i < n; i++)
        for (num j = 0; j < n; j++)
            if (last[i * side + j] < last[a * side + b])
                a = i, b = j;
    num cost = last[a * side + b];
    for (;; t--) {
        slots1[t] = a;
        slots2[t] = b;
        if (!t)
            return cost;
        num place = p->places[t], m = p->counts[t - 1];
        side = p->sides[t];
        b = first(m, halves + place + a, side, p->move2 + place + b, side);
        a = first(m, reached + p->places[t - 1] + b, p->sides[t - 1], p->move1 + place + a, side);
    }
}

static PyObject *solve(PyObject *self, PyObject *args)
{
    Py_buffer in[6], out[2];
    if (!PyArg_ParseTuple(args, "y*y*y*y*y*y*w*w*", &in[0], &in[1], &in[2], &in[3], &in[4], &in[5],
                          &out[0], &out[1]))
        return NULL;
    Problem p = {in[0].len / 8, in[3].len / 8, in[0].buf, in[1].buf,
                 in[2].buf,     in[3].buf,     in[4].buf, in[5].buf};
    PyObject *cost = NULL;
    num *reached = NULL;
    if (in[1].len != in[0].len || in[2].len != in[0].len || in[4].len != in[3].len
        || in[5].len != in[3].len || out[0].len != in[0].len || out[1].len != in[0].len || !fits(&p))
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    else if (!(reached = PyMem_Malloc(2 * (size_t)in[3].len)))
        PyErr_NoMemory();
    else {
        forward(&p, reached, reached + p.cells);
        cost = PyLong_FromLongLong(back(&p, reached, reached + p.cells, out[0].buf, out[1].buf));
    }
    PyMem_Free(reached);
    for (int i = 0; i < 8; i++)
        PyBuffer_Release(i < 6 ? &in[i] : &out[i - 6]);
    return cost;
}

static PyMethodDef methods[] = {
    {"solve", solve, METH_VARARGS, "Write the slots of the cheapest path and return its cost."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_optimum", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__optimum(void)
{
    return PyModuleDef_Init(&module);
}
