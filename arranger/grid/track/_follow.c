/* The best beat compiled: `follow.py` says what it is, and has it in numpy where this couldn't be
   compiled. It needs Python's stable interface of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "4d51ca55"
#include <Python.h>
#include <stdint.h>

#define NEVER (-(1 << 29))

typedef struct {
    Py_ssize_t frames, many, most; /* `most`: the longest period */
    int64_t reach;
    const int32_t *gains, *price, *begin;
    const int64_t *periods;
    int32_t *onward; /* (frames + most, many) */
    int8_t *came, *fresh; /* (frames, many) */
    int64_t *found; /* gained, frame, period's index */
} Song;

static void reach_frame(const Song *s, Py_ssize_t now, int32_t *reached)
{
    for (Py_ssize_t p = 0; p < s->many; p++) {
        int32_t before = s->onward[(now + s->most - s->periods[p]) * s->many + p];
        int fresh = before < s->begin[p];
        s->fresh[now * s->many + p] = (int8_t)fresh;
        reached[p] = (fresh ? s->begin[p] : before) + s->gains[now];
        if (reached[p] > s->found[0]) {
            s->found[0] = reached[p];
            s->found[1] = now;
            s->found[2] = p;
        }
    }
}

static void leave_frame(const Song *s, Py_ssize_t now, const int32_t *reached)
{
    for (Py_ssize_t p = 0; p < s->many; p++) {
        int32_t best = NEVER;
        int64_t shift = -s->reach;
        for (int64_t by = -s->reach; by <= s->reach; by++) {
            Py_ssize_t from = p + by;
            if (from < 0 || from >= s->many)
                continue;
            int32_t value = reached[from] - s->price[from * s->many + p];
            if (value > best) {
                best = value;
                shift = by;
            }
        }
        s->onward[(now + s->most) * s->many + p] = best;
        s->came[now * s->many + p] = (int8_t)shift;
    }
}

static int fits(const Song *s, const Py_buffer *b)
{
    int good = s->many > 0 && s->reach >= 0 && s->reach < 128 && b[2].len == 4 * s->many * s->many
        && b[3].len == 4 * s->many && b[5].len == s->frames * s->many && b[6].len == b[5].len
        && b[7].len == 24;
    for (Py_ssize_t p = 0; good && p < s->many; p++)
        good = s->periods[p] > 0 && s->periods[p] <= s->most;
    return good && b[4].len == 4 * (s->frames + s->most) * s->many;
}

static PyObject *followed(PyObject *self, PyObject *args)
{
    Py_buffer b[8];
    Song s;
    long long reach;
    if (!PyArg_ParseTuple(args, "y*y*y*y*w*w*w*w*L", &b[0], &b[1], &b[2], &b[3], &b[4], &b[5], &b[6],
                          &b[7], &reach))
        return NULL;
    s.frames = b[0].len / 4, s.many = b[1].len / 8, s.reach = reach;
    s.gains = b[0].buf, s.periods = b[1].buf, s.price = b[2].buf, s.begin = b[3].buf;
    s.onward = b[4].buf, s.came = b[5].buf, s.fresh = b[6].buf, s.found = b[7].buf;
    s.most = s.many ? s.periods[s.many - 1] : 0;
    int32_t *reached = PyMem_Malloc(4 * (size_t)(s.many + 1));
    if (!reached)
        PyErr_NoMemory();
    else if (!fits(&s, b))
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    else {
        for (Py_ssize_t cell = 0; cell < s.most * s.many; cell++)
            s.onward[cell] = NEVER;
        s.found[0] = NEVER;
        for (Py_ssize_t now = 0; now < s.frames; now++) {
            reach_frame(&s, now, reached);
            leave_frame(&s, now, reached);
        }
    }
    PyMem_Free(reached);
    for (int i = 0; i < 8; i++)
        PyBuffer_Release(&b[i]);
    if (PyErr_Occurred())
        return NULL;
    Py_RETURN_NONE;
}

static PyMethodDef methods[] = {
    {"followed", followed, METH_VARARGS, "Write the best way on from each frame, and the best beat's end."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_follow", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__follow(void)
{
    return PyModuleDef_Init(&module);
}
