/* The best beat compiled: `follow.py` says what it is, and has it in numpy where this couldn't be
   compiled. It needs Python's stable interface of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "8e44e3c1"
#include <Python.h>
#include <stdint.h>

#define NEVER (-(1 << 29))
#define EIGHT 8

typedef struct {
    Py_ssize_t frames, many, most; /* `most`: the longest period */
    Py_ssize_t reach;
    Py_ssize_t wide; /* `many` up to a multiple of eight */
    int32_t *paid; /* (ways, wide) */
    int32_t *best, *shift; /* (wide) */
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

/* Way by way, so that a compiler takes many periods at once; of equal ways the first is kept. */
static void leave_frame(const Song *s, Py_ssize_t now, const int32_t *reached)
{
    int32_t *restrict best = s->best, *restrict shift = s->shift;
    Py_ssize_t wide = s->wide / EIGHT * EIGHT; /* tells the compiler that nothing is left over */
    for (Py_ssize_t p = 0; p < wide; p++)
        best[p] = NEVER, shift[p] = (int32_t)-s->reach;
    for (Py_ssize_t way = 0; way <= 2 * s->reach; way++) {
        const int32_t *from = reached + way - s->reach, *paid = s->paid + way * wide;
        int32_t by = (int32_t)(way - s->reach);
        for (Py_ssize_t p = 0; p < wide; p++) {
            int32_t value = from[p] - paid[p];
            shift[p] = value > best[p] ? by : shift[p];
            best[p] = value > best[p] ? value : best[p];
        }
    }
    for (Py_ssize_t p = 0; p < s->many; p++) {
        s->onward[(now + s->most) * s->many + p] = best[p];
        s->came[now * s->many + p] = (int8_t)shift[p];
    }
}

/* Write what each way pays, 0 where no period is, and `NEVER` beside the places of `reached`. */
static void lay_out(Song *s, int32_t *reached)
{
    for (Py_ssize_t way = 0; way <= 2 * s->reach; way++)
        for (Py_ssize_t p = 0; p < s->wide; p++) {
            Py_ssize_t from = p + way - s->reach;
            int there = p < s->many && from >= 0 && from < s->many;
            s->paid[way * s->wide + p] = there ? s->price[from * s->many + p] : 0;
        }
    for (Py_ssize_t p = -s->reach; p < s->wide + s->reach; p++)
        reached[p] = NEVER;
    for (Py_ssize_t cell = 0; cell < s->most * s->many; cell++)
        s->onward[cell] = NEVER;
    s->found[0] = NEVER;
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
    s.wide = (s.many + EIGHT - 1) / EIGHT * EIGHT;
    int good = fits(&s, b);
    int32_t *room = good ? PyMem_Malloc(4 * (size_t)((2 * s.reach + 4) * s.wide + 2 * s.reach)) : NULL;
    if (!good)
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    else if (!room)
        PyErr_NoMemory();
    else {
        int32_t *reached = room + s.reach;
        s.best = reached + s.wide + s.reach, s.shift = s.best + s.wide, s.paid = s.shift + s.wide;
        lay_out(&s, reached);
        for (Py_ssize_t now = 0; now < s.frames; now++) {
            reach_frame(&s, now, reached);
            leave_frame(&s, now, reached);
        }
    }
    PyMem_Free(room);
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
