/* The walk through the events of a track compiled: `events.py` says what notes are and which events
   are listed, and does the same where this couldn't be compiled. It needs Python's stable interface
   of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "e05c6fd7"
#include <Python.h>
#include <stdint.h>

typedef int64_t num;

enum { ONSET, ORDER, KEY, VELOCITY, END, END_ORDER, NOTE };
enum { TICK, PLACE, PORT, CODE, EVENT };
enum { PASSED_OVER, LISTED, COUNTED, CHANGES_PORT }; /* what becomes of a kind of event */
enum { PORTS = 128, KEYS = 16 * 128 };

/* Rows that are written: how many fit, and how many there were; one too many isn't written. */
typedef struct {
    num *rows;
    Py_ssize_t room, count;
} Table;

/* The open notes of a key, from the first to the last; each has in its end the next one. */
typedef struct {
    num first, last;
} Open;

typedef struct {
    const uint8_t *data, *controllers, *metas;
    Py_ssize_t at, end;
    num tick, order, longest_pause, first_port, port, longest_exclusive;
    Table notes, others, pauses;
    Open *open[PORTS]; /* of each port that has notes, KEYS of them; notes count from 1 */
} Track;

static num *add_row(Table *table, int width)
{
    Py_ssize_t row = table->count++;
    return row < table->room ? table->rows + row * width : NULL;
}

static num quantity(Track *t)
{
    num value = 0;
    while (t->at < t->end) {
        uint8_t byte = t->data[t->at++];
        value = value << 7 | (byte & 0x7F);
        if (byte < 0x80)
            break;
    }
    return value;
}

static void list_event(Track *t, num code)
{
    num *event = add_row(&t->others, EVENT);
    if (event != NULL)
        event[TICK] = t->tick, event[PLACE] = t->order, event[PORT] = t->port, event[CODE] = code;
}

static void pass_time(Track *t, num delta)
{
    t->tick += delta;
    if (delta > t->longest_pause) {
        t->tick -= delta;
        num *pause = add_row(&t->pauses, 2);
        if (pause != NULL)
            pause[0] = t->tick, pause[1] = delta;
    }
}

static Open *open_keys(Track *t)
{
    Open **keys = &t->open[(t->port >> 4) % PORTS];
    if (*keys == NULL && (*keys = PyMem_Calloc(KEYS, sizeof(Open))) == NULL)
        PyErr_NoMemory();
    return *keys;
}

static int start_note(Track *t, Open *open, num key, num velocity)
{
    num *note = add_row(&t->notes, NOTE);
    if (note == NULL)
        return 0;
    note[ONSET] = t->tick, note[ORDER] = t->order, note[KEY] = t->port << 7 | key;
    note[VELOCITY] = velocity, note[END] = 0, note[END_ORDER] = t->order;
    if (open->first)
        t->notes.rows[(open->last - 1) * NOTE + END] = t->notes.count;
    else
        open->first = t->notes.count;
    open->last = t->notes.count;
    return 1;
}

static void end_note(Track *t, Open *open)
{
    num *note = t->notes.rows + (open->first - 1) * NOTE;
    open->first = note[END];
    note[END] = t->tick, note[END_ORDER] = t->order;
}

/* Take a channel message; 0: there are too many notes, or no memory. */
static int hear(Track *t, num status, num number, num value)
{
    num kind = status >> 4, channel = status & 15, code = status << 16 | number << 8 | value;
    if (kind <= 9) {
        Open *open = open_keys(t);
        if (open == NULL)
            return 0;
        open += channel << 7 | number;
        if (kind == 9 && value)
            return start_note(t, open, channel << 7 | number, value);
        if (open->first)
            end_note(t, open);
    } else if (kind == 0xB) {
        if (t->controllers[number] == LISTED)
            list_event(t, code);
        if (number == 120 || number >= 123) { /* all notes off */
            Open *open = open_keys(t);
            if (open == NULL)
                return 0;
            for (open += channel << 7, number = 0; number < 128; number++)
                while (open[number].first)
                    end_note(t, open + number);
        }
    } else if (kind == 0xC || kind == 0xE) {
        list_event(t, code);
    }
    return 1;
}

/* Pass a meta or system-exclusive event; return what became of it. */
static int pass_other(Track *t, num *delta)
{
    Py_ssize_t begin = t->at;
    num status = t->data[t->at++], kind = status == 0xFF && t->at < t->end ? t->data[t->at++] : 0;
    num length = quantity(t);
    int fate = status == 0xF0 && length <= t->longest_exclusive ? LISTED : PASSED_OVER;
    if (status == 0xFF && kind < 128)
        fate = t->metas[kind];
    if (length > t->end - t->at)
        length = t->end - t->at;
    if (fate != PASSED_OVER) {
        pass_time(t, *delta);
        *delta = 0;
    }
    if (fate == LISTED)
        list_event(t, -begin);
    else if (fate == CHANGES_PORT)
        t->port = t->first_port | (num)(length ? t->data[t->at] & 0x7F : 0) << 4;
    t->at += length;
    return fate;
}

/* Walk through the track; 0: there are too many notes or other events, or no memory. */
static int walk(Track *t)
{
    num delta = 0, status = 0;
    while (t->at < t->end && t->others.count <= t->others.room) {
        delta += quantity(t);
        if (t->at < t->end && t->data[t->at] >= 0xF0) {
            t->order += pass_other(t, &delta) != PASSED_OVER;
            continue;
        }
        if (t->at < t->end && t->data[t->at] >= 0x80)
            status = t->data[t->at++];
        int size = status >= 0xC0 && status < 0xE0 ? 1 : 2;
        if (status == 0 || size > t->end - t->at)
            break; /* not by the standard */
        pass_time(t, delta);
        delta = 0;
        if (!hear(t, status, t->data[t->at] & 0x7F, size == 2 ? t->data[t->at + 1] & 0x7F : 0))
            return 0;
        t->at += size;
        t->order++;
    }
    return t->others.count <= t->others.room;
}

static Table table_of(const Py_buffer *buffer, int width)
{
    Table table = {buffer->buf, buffer->len / (width * (Py_ssize_t)sizeof(num)), 0};
    return table;
}

static PyObject *gather(PyObject *self, PyObject *args)
{
    Py_buffer in[3], out[3];
    Track t = {0};
    long long start, device, pause, exclusive;
    if (!PyArg_ParseTuple(args, "y*y*y*w*w*w*nnLLLL", &in[0], &in[1], &in[2], &out[0], &out[1],
                          &out[2], &t.at, &t.end, &start, &device, &pause, &exclusive))
        return NULL;
    t.data = in[0].buf, t.controllers = in[1].buf, t.metas = in[2].buf;
    t.notes = table_of(&out[0], NOTE), t.others = table_of(&out[1], EVENT);
    t.pauses = table_of(&out[2], 2);
    t.tick = start, t.longest_pause = pause, t.longest_exclusive = exclusive;
    t.port = t.first_port = device << 11;
    int fits = t.at >= 0 && t.end <= in[0].len && in[1].len == 128 && in[2].len == 128;
    if (fits && walk(&t)) { /* what is still open has no end */
        for (int port = 0; port < PORTS; port++)
            for (int key = 0; t.open[port] != NULL && key < KEYS; key++)
                for (num note = t.open[port][key].first, next; note; note = next) {
                    num *end = t.notes.rows + (note - 1) * NOTE + END;
                    next = *end;
                    *end = -1;
                }
    }
    for (int port = 0; port < PORTS; port++)
        PyMem_Free(t.open[port]);
    for (int i = 0; i < 6; i++)
        PyBuffer_Release(i < 3 ? &in[i] : &out[i - 3]);
    if (!fits)
        PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
    return PyErr_Occurred() ? NULL : Py_BuildValue("nnnL", t.notes.count, t.others.count, t.pauses.count, (long long)t.tick);
}

static PyMethodDef methods[] = {
    {"gather", gather, METH_VARARGS, "Write the notes, other events and pauses of a track."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_events", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__events(void)
{
    return PyModuleDef_Init(&module);
}
