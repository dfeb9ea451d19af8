/* Whose turn it is compiled: `_Chooser` in `turns.py` says what is chosen and why, and does the same
   where this couldn't be compiled. It needs Python's stable interface of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "da375baa"
#include <Python.h>
#include <stdint.h>

typedef int64_t num;

/* The columns of a moment, in the order of `Moment` in turns.py. */
enum { BROKEN, BAR, TURN, BEAT, UPBEAT, STRUCK, TUNE, TOP, FILLS, ROOT, COLUMNS };

typedef struct {
    Py_ssize_t segments, width;
    const num *columns, *chords, *sounding; /* (COLUMNS, T), (T, width), (T,) */
    const double *later;                    /* (12,) */
    double sooner;
    num reach, unheard;
} Song;

typedef struct {
    num bar, bass, turns, begun;
    num asked[2], upper[2], before[2], last_but_one[2];
    num last[12]; /* the turn in which a pitch class was last heard, or -1 */
} Chooser;

typedef struct {
    num column[COLUMNS];
} Moment;

static void ask(Chooser *c, int voice, const Moment *now, num pitch)
{
    c->asked[voice] = pitch;
    c->last[pitch % 12] = c->turns;
    if (now->column[TURN]) {
        c->last_but_one[voice] = c->before[voice];
        c->before[voice] = pitch % 12;
    }
}

/* The pitch that is needed most; of a class the one nearest to the last. `without`: a class or -1. */
static num needed(const Song *s, const Chooser *c, int voice, const Moment *now, const num *chord,
                  num many, num without)
{
    num best = -1, best_far = 0;
    double best_wait = 0;
    for (num i = 0; i < many; i++) {
        num pitch = chord[i], one = pitch % 12, far = pitch - c->upper[voice];
        if (one == without)
            continue;
        num root = (pitch - now->column[ROOT]) % 12, last = c->last[one];
        double wait = (double)(last < 0 ? c->begun - s->unheard : last) + s->later[root < 0 ? root + 12 : root];
        if (voice && one == c->bass)
            wait -= s->sooner;
        far = far < 0 ? -far : far;
        /* pitches rise, so of equals the first stays */
        if (best < 0 || wait < best_wait || (wait == best_wait && far < best_far))
            best = pitch, best_wait = wait, best_far = far;
    }
    return best;
}

/* Ask a voice for another pitch of the chord if it is time. */
static void take_turn(const Song *s, Chooser *c, int voice, const Moment *now, const num *chord, num many)
{
    int sounds = 0;
    for (num i = 0; i < many; i++)
        sounds |= chord[i] == c->asked[voice];
    if (now->column[TURN] || !sounds) {
        int twice = now->column[TURN] && c->last_but_one[voice] == c->before[voice]; /* not a third time */
        num found = needed(s, c, voice, now, chord, many, twice ? c->before[voice] : -1);
        if (found < 0)
            found = needed(s, c, voice, now, chord, many, -1);
        c->upper[voice] = found;
        ask(c, voice, now, found);
    }
    c->last[c->asked[voice] % 12] = c->turns;
}

static void next(const Song *s, Chooser *c, const Moment *now, const num *chord, num many, num *near)
{
    const num *column = now->column;
    c->turns += column[TURN];
    if (!column[BROKEN] || !many) {
        c->asked[0] = c->asked[1] = -1;
        return;
    }
    num lowest = chord[0];
    int changes = column[STRUCK] && lowest % 12 != c->bass;
    if (column[BAR] != c->bar || changes) {
        for (int i = 0; i < 12; i++)
            c->last[i] = -1;
        c->begun = c->turns;
    }
    c->bar = column[BAR];
    c->bass = lowest % 12;
    if (column[TURN])
        for (int i = 0; i < 12; i++)
            if (column[TUNE] >> i & 1)
                c->last[i] = c->turns;
    if (changes || (column[TURN] && column[BEAT]))
        ask(c, 1, now, lowest);
    else {
        int upper = column[UPBEAT] && many > 1;
        take_turn(s, c, 1, now, chord + upper, many - upper);
    }
    if (column[TOP] >= 0)
        c->upper[0] = column[TOP];
    if (!column[FILLS] || many < 2) {
        c->asked[0] = -1;
        return;
    }
    num others = 0, close = 0;
    for (int far = 0; far < 2 && !close; far++, close = others)
        for (num i = others = 0; i < many; i++) {
            num apart = chord[i] - c->upper[0];
            if (chord[i] != c->asked[1] && (far || (apart <= s->reach && -apart <= s->reach)))
                near[others++] = chord[i];
        }
    take_turn(s, c, 0, now, near, others);
}

/* Whether pitches rise, as far as they count. */
static int fits(const Song *s)
{
    for (Py_ssize_t t = 0; t < s->segments; t++) {
        const num *chord = s->chords + t * s->width;
        if (s->sounding[t] < 0 || s->sounding[t] > s->width)
            return 0;
        for (num i = 0; i < s->sounding[t]; i++)
            if (chord[i] < 0 || (i && chord[i] <= chord[i - 1]))
                return 0;
    }
    return 1;
}

static int choose(const Song *s, num *found)
{
    num *near = PyMem_Malloc(8 * (size_t)(s->width + 1));
    Chooser c = {-1, -1, 0, 0, {-1, -1}, {-1, -1}, {-2, -2}, {-1, -1}, {0}};
    if (!near)
        return 0;
    for (int i = 0; i < 12; i++)
        c.last[i] = -1;
    for (Py_ssize_t t = 0; t < s->segments; t++) {
        Moment now;
        for (int i = 0; i < COLUMNS; i++)
            now.column[i] = s->columns[i * s->segments + t];
        next(s, &c, &now, s->chords + t * s->width, s->sounding[t], near);
        found[t] = c.asked[0];
        found[s->segments + t] = c.asked[1];
    }
    PyMem_Free(near);
    return 1;
}

static PyObject *chosen(PyObject *self, PyObject *args)
{
    Py_buffer in[4], out;
    Song s;
    if (!PyArg_ParseTuple(args, "y*y*y*y*w*dLL", &in[0], &in[1], &in[2], &in[3], &out, &s.sooner,
                          &s.reach, &s.unheard))
        return NULL;
    s.segments = in[2].len / 8;
    s.width = s.segments ? in[1].len / 8 / s.segments : 0;
    s.columns = in[0].buf, s.chords = in[1].buf, s.sounding = in[2].buf, s.later = in[3].buf;
    if (in[0].len != COLUMNS * in[2].len || in[1].len != s.width * in[2].len || in[3].len != 12 * 8
        || out.len != 2 * in[2].len || !fits(&s))
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    else if (!choose(&s, out.buf))
        PyErr_NoMemory();
    for (int i = 0; i < 5; i++)
        PyBuffer_Release(i < 4 ? &in[i] : &out);
    if (PyErr_Occurred())
        return NULL;
    Py_RETURN_NONE;
}

static PyMethodDef methods[] = {
    {"chosen", chosen, METH_VARARGS, "Write the pitches that the voices are asked for."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_turns", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__turns(void)
{
    return PyModuleDef_Init(&module);
}
