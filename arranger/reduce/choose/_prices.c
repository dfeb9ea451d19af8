/* The costs of all choices compiled: `terms.py` defines each term and adds them up with numpy, where
   this couldn't be compiled; both come to the same whole numbers. It needs Python's stable interface
   of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "5395c30a"
#include <Python.h>
#include <math.h>
#include <stdint.h>

#define MOST 64 /* slots of a segment */

typedef int64_t num;
typedef uint8_t flag;

/* In the order of `_columns` in price.py. */
enum { COUNTS, SIDES, PLACES, STARTS, LENGTHS, COVERED, LOST, CANDIDATES, SCRAP, TURN, FREE,
       PITCH, ONSET, RELEASED, WHOSE, UNHEARD, LEAN, IN_TUNE, STARTED, START_SALIENCE, START_OCTAVE,
       LASTING, STEP_SALIENCE, STEP_OCTAVE, BROKEN, REPEATED, WRONG1, WRONG2, SPLIT, INPUTS,
       NODE = INPUTS, MOVE1, MOVE2, CHANGED, BUFFERS };

typedef struct {
    const void *at[BUFFERS];
    Py_ssize_t length[BUFFERS]; /* in bytes */
    double delay, crossing, units;
    num doubling, unison, late, entry, leap, line, leap_limit, stream, far;
    Py_ssize_t segments, width, tones;
} Rates;

#define INTS(name) ((const num *)r->at[name])
#define FLAGS(name) ((const flag *)r->at[name])

/* The slots of a segment: the tone of each (that of a rest is the last, of which all is 0). */
typedef struct {
    num count, steps;
    num tone[MOST], lasting[MOST];
    flag used[MOST], fresh[MOST];
} Slots;

typedef num Square[MOST][MOST];

static void look(const Rates *r, Py_ssize_t t, Slots *s)
{
    int rings = r->length[LASTING] > r->length[ONSET];
    s->count = INTS(COUNTS)[t];
    s->steps = INTS(LENGTHS)[t];
    for (num a = 0; a < s->count; a++) {
        num tone = INTS(CANDIDATES)[t * r->width + a], start = INTS(STARTS)[t];
        s->used[a] = tone >= 0;
        s->tone[a] = s->used[a] ? tone : r->tones;
        s->fresh[a] = s->used[a] && INTS(ONSET)[tone] == start;
        s->lasting[a] = s->used[a] && rings && INTS(RELEASED)[tone] <= start ? r->tones + tone
            : s->used[a] ? s->tone[a] : r->length[LASTING] / 8 - 1;
    }
}

static int alike(const Rates *r, const Slots *s, num a, num b)
{
    num apart = INTS(PITCH)[s->tone[a]] - INTS(PITCH)[s->tone[b]];
    return a != b && s->used[a] && s->used[b] && apart % 12 == 0;
}

/* What both voices let be heard: counted for each of them, it counts once. */
static num twice(const Square heard, num a, num b, num count)
{
    num sum = 0;
    for (num c = 0; c < count; c++)
        sum += heard[a][c] < heard[b][c] ? heard[a][c] : heard[b][c];
    return sum;
}

static num row(const Square heard, num a, num count)
{
    num sum = 0;
    for (num c = 0; c < count; c++)
        sum += heard[a][c];
    return sum;
}

static void quiet(const Rates *r, const Slots *s, num *node, num side)
{
    Square sounding, starting;
    num first[MOST], second[MOST], n = s->count, pitch[MOST];
    const double *lean = r->at[LEAN];
    for (num a = 0; a < n; a++)
        pitch[a] = INTS(PITCH)[s->tone[a]];
    for (num a = 0; a < n; a++)
        for (num c = 0; c < n; c++) {
            int same = pitch[a] == pitch[c], heard = a == c || alike(r, s, a, c);
            sounding[a][c] = heard ? s->steps * INTS(a == c || same ? STEP_SALIENCE : STEP_OCTAVE)[s->lasting[c]] : 0;
            starting[a][c] = heard && s->fresh[a] && s->fresh[c]
                ? INTS(a == c || same ? START_SALIENCE : START_OCTAVE)[s->tone[c]] : 0;
        }
    for (num a = 0; a < n; a++) {
        num tone = s->tone[a];
        num held = -s->steps * INTS(LASTING)[s->lasting[a]] - row(sounding, a, n) - row(starting, a, n);
        if (s->fresh[a])
            held += INTS(REPEATED)[tone] - INTS(STARTED)[tone];
        first[a] = held + (s->fresh[a] ? INTS(WRONG1)[tone] : 0);
        second[a] = held + (s->fresh[a] ? INTS(WRONG2)[tone] : 0);
    }
    for (num a = 0; a < n; a++)
        for (num b = 0; b < n; b++) {
            num cost = first[a] + second[b];
            if (alike(r, s, a, b)) {
                cost += twice(sounding, a, b, n) + twice(starting, a, b, n);
                cost += s->steps * (pitch[a] == pitch[b] ? r->unison : r->doubling);
            }
            if (s->used[a] && s->used[b] && pitch[a] < pitch[b]) {
                double meant = fmin(fmax(lean[s->tone[a]] - lean[s->tone[b]], 0.0), 1.0);
                cost += s->steps * (num)rint(r->crossing * (1.0 - meant) * r->units);
            }
            node[a * side + b] = cost;
        }
}

static void covered(const Rates *r, const Slots *s, num *node, num side)
{
    Square starting, delayed;
    num held[MOST], n = s->count;
    flag fresh[MOST];
    for (num a = 0; a < n; a++)
        fresh[a] = s->fresh[a] && !FLAGS(UNHEARD)[s->tone[a]];
    for (num a = 0; a < n; a++) {
        num tone = s->tone[a];
        for (num c = 0; c < n; c++) {
            num other = s->tone[c];
            int same = a == c || INTS(PITCH)[tone] == INTS(PITCH)[other];
            starting[a][c] = (a == c || alike(r, s, a, c)) && fresh[a] && s->fresh[c]
                ? INTS(same ? START_SALIENCE : START_OCTAVE)[other] : 0;
            num start = a == c ? fresh[a] * (INTS(STARTED)[tone] + INTS(START_SALIENCE)[tone]) : starting[a][c];
            delayed[a][c] = (num)rint(r->delay * (double)start);
        }
        held[a] = row(delayed, a, n) - row(starting, a, n) - fresh[a] * INTS(STARTED)[tone];
    }
    for (num a = 0; a < n; a++)
        for (num b = 0; b < n; b++)
            node[a * side + b] = held[a] + held[b]
                + (alike(r, s, a, b) ? twice(starting, a, b, n) - twice(delayed, a, b, n) : 0);
}

/* What a voice that goes from a tone to another pays for it. */
static num going(const Rates *r, num start, num before, num now, int used, int fresh)
{
    num left = INTS(RELEASED)[before] - start, cost = left > 0 ? left * INTS(BROKEN)[before] : 0;
    if (!used)
        return cost;
    if (!fresh)
        cost += r->late;
    if (before == r->tones)
        return cost + r->entry;
    num distance = INTS(PITCH)[before] - INTS(PITCH)[now];
    distance = distance < 0 ? -distance : distance;
    distance = distance < r->leap_limit ? distance : r->leap_limit;
    cost += r->leap * distance + (INTS(WHOSE)[before] != INTS(WHOSE)[now]) * r->line;
    if (fresh && distance > r->stream)
        cost += INTS(SPLIT)[start - INTS(ONSET)[before]] * (distance - r->stream);
    return cost;
}

static void move(const Rates *r, Py_ssize_t t, const Slots *before, const Slots *now, num *out[3])
{
    num place = INTS(PLACES)[t], side = INTS(SIDES)[t], start = INTS(STARTS)[t];
    const flag *free = r->length[FREE] ? FLAGS(FREE) : NULL;
    for (num i = 0; i < before->count; i++)
        for (num j = 0; j < now->count; j++) {
            num from = before->tone[i], to = now->tone[j], cell = place + i * side + j;
            int goes = from != to;
            num cost = goes ? going(r, start, from, to, now->used[j], now->fresh[j]) : 0;
            int tune = FLAGS(IN_TUNE)[from] || FLAGS(IN_TUNE)[to];
            ((flag *)r->at[CHANGED])[cell] = (flag)goes;
            out[1][cell] = !free || tune || !free[t] ? cost : 0;
            if (free)
                out[2][cell] = tune || !free[r->segments + t] ? cost : 0;
        }
}

static void prices(const Rates *r)
{
    num *out[3] = {(num *)r->at[NODE], (num *)r->at[MOVE1], (num *)r->at[MOVE2]};
    const num *turn = r->length[TURN] ? INTS(TURN) : NULL;
    Slots pair[2], *before = &pair[1], *now = &pair[0];
    before->count = 1;
    before->tone[0] = r->tones;
    for (Py_ssize_t t = 0; t < r->segments; t++) {
        num side = INTS(SIDES)[t], *node = out[0] + INTS(PLACES)[t];
        look(r, t, now);
        (FLAGS(COVERED)[t] ? covered : quiet)(r, now, node, side);
        for (num a = 0; a < now->count; a++)
            for (num b = 0; b < now->count; b++) {
                Py_ssize_t one = t * r->width + a, two = (r->segments + t) * r->width + b;
                num more = INTS(LOST)[t] + (turn ? turn[one] + turn[two] : 0);
                more += FLAGS(COVERED)[t] ? 0 : INTS(SCRAP)[one];
                node[a * side + b] = a && a == b ? r->far : node[a * side + b] + more;
            }
        move(r, t, before, now, out);
        Slots *old = before;
        before = now;
        now = old;
    }
}

/* Whether every place that is looked at lies within the arrays. */
static int fits(const Rates *r)
{
    static const int of_segments[] = {COUNTS, SIDES, PLACES, STARTS, LENGTHS, LOST};
    static const int of_tones[] = {PITCH, ONSET, RELEASED, WHOSE, LEAN, STARTED, START_SALIENCE,
                                   START_OCTAVE, BROKEN, REPEATED, WRONG1, WRONG2};
    Py_ssize_t cells = r->length[NODE] / 8, all = r->segments * r->width, lasting = r->length[LASTING];
    int fine = r->segments > 0 && r->width > 0 && r->tones >= 0 && r->length[COVERED] == r->segments
        && r->length[CANDIDATES] == 8 * all && r->length[SCRAP] == 8 * all
        && (!r->length[TURN] || r->length[TURN] == 16 * all)
        && (!r->length[FREE] || r->length[FREE] == 2 * r->segments)
        && r->length[UNHEARD] == r->tones + 1 && r->length[IN_TUNE] == r->tones + 1
        && (lasting == 8 * (r->tones + 1) || lasting == 8 * (2 * r->tones + 1))
        && r->length[STEP_SALIENCE] == lasting && r->length[STEP_OCTAVE] == lasting
        && r->length[MOVE1] == 8 * cells && r->length[MOVE2] == 8 * cells && r->length[CHANGED] == cells;
    for (size_t i = 0; i < sizeof of_segments / sizeof *of_segments; i++)
        fine = fine && r->length[of_segments[i]] == 8 * r->segments;
    for (size_t i = 0; i < sizeof of_tones / sizeof *of_tones; i++)
        fine = fine && r->length[of_tones[i]] == 8 * (r->tones + 1);
    num before = 1;
    for (Py_ssize_t t = 0; fine && t < r->segments; t++) {
        num now = INTS(COUNTS)[t], side = INTS(SIDES)[t], place = INTS(PLACES)[t], start = INTS(STARTS)[t];
        fine = now >= 1 && now <= r->width && now <= MOST && side >= now && side >= before
            && side <= 1 << 20 && place >= 0 && place <= cells - side * side
            && start >= 0 && start < r->length[SPLIT] / 8;
        for (num a = 0; fine && a < now; a++) {
            num tone = INTS(CANDIDATES)[t * r->width + a];
            fine = tone >= -1 && tone < r->tones && (tone < 0 || INTS(ONSET)[tone] >= 0);
            fine = fine && (tone < 0 || INTS(ONSET)[tone] <= start);
        }
        before = now;
    }
    return fine;
}

static PyObject *price(PyObject *self, PyObject *args)
{
    PyObject *columns;
    Py_buffer held[BUFFERS];
    Rates r = {0};
    int many = 0;
    if (!PyArg_ParseTuple(args, "O!ndddLLLLLLLLL", &PyTuple_Type, &columns, &r.width, &r.delay,
                          &r.crossing, &r.units, &r.doubling, &r.unison, &r.late, &r.entry, &r.leap,
                          &r.line, &r.leap_limit, &r.stream, &r.far))
        return NULL;
    if (PyTuple_Size(columns) != BUFFERS) {
        PyErr_SetString(PyExc_ValueError, "there are more or fewer arrays than needed");
        return NULL;
    }
    for (; many < BUFFERS; many++) {
        PyObject *column = PyTuple_GetItem(columns, many);
        int how = many < INPUTS ? PyBUF_C_CONTIGUOUS : PyBUF_C_CONTIGUOUS | PyBUF_WRITABLE;
        if (PyObject_GetBuffer(column, &held[many], how))
            break;
        r.at[many] = held[many].buf;
        r.length[many] = held[many].len;
    }
    r.segments = r.length[COUNTS] / 8;
    r.tones = r.length[PITCH] / 8 - 1;
    if (many == BUFFERS && !fits(&r))
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    else if (many == BUFFERS)
        prices(&r);
    for (int i = 0; i < many; i++)
        PyBuffer_Release(&held[i]);
    if (PyErr_Occurred())
        return NULL;
    Py_RETURN_NONE;
}

static PyMethodDef methods[] = {
    {"price", price, METH_VARARGS, "Write what every choice of every segment costs."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_prices", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__prices(void)
{
    return PyModuleDef_Init(&module);
}
