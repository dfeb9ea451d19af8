/* The phrases of a song compiled: `phrases.py` says what they are, and finds the same where this couldn't
   be compiled. It needs Python's stable interface of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "e6f92c77"
#include <Python.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

typedef struct {
    int64_t *at;
    Py_ssize_t count, room;
} List;

typedef struct {
    List holds, holders; /* `holders`: rules that this one stands in, or stood */
    int64_t uses, bytes;
    int there;
} Rule;

typedef struct {
    int64_t pair, times;
} Pair;

typedef struct {
    int64_t kinds, phrase_bytes;
    const int64_t *sizes;
    Rule *rules; /* the first is the song, then phrases: kinds is the number of the first of these */
    Py_ssize_t count, room;
    int failed;
} Grammar;

static int push(List *list, int64_t value)
{
    if (list->count == list->room) {
        Py_ssize_t room = 2 * list->room + 4;
        int64_t *at = PyMem_Realloc(list->at, room * sizeof *at);
        if (at == NULL)
            return 0;
        list->at = at;
        list->room = room;
    }
    list->at[list->count++] = value;
    return 1;
}

static Rule *rule_of(Grammar *g, int64_t symbol)
{
    return symbol < g->kinds ? NULL : &g->rules[symbol - g->kinds + 1];
}

static Rule *add_rule(Grammar *g)
{
    if (g->count == g->room) {
        Py_ssize_t room = 2 * g->room + 64;
        Rule *rules = PyMem_Realloc(g->rules, room * sizeof *rules);
        if (rules == NULL) {
            g->failed = 1;
            return NULL;
        }
        g->rules = rules;
        g->room = room;
    }
    Rule *rule = memset(&g->rules[g->count++], 0, sizeof(Rule));
    rule->there = 1;
    return rule;
}

/* Most first, then rising. */
static int by_times(const void *one, const void *other)
{
    const Pair *a = one, *b = other;
    if (a->times != b->times)
        return a->times < b->times ? 1 : -1;
    return (a->pair > b->pair) - (a->pair < b->pair);
}

/* Count the pairs of neighbours in a table of so many places, a power of two. */
static int64_t count_pairs(const List *song, Pair *table, Py_ssize_t places)
{
    int64_t most = 0;
    Py_ssize_t equal = -2;
    memset(table, 0, places * sizeof *table);
    for (Py_ssize_t i = 0; i + 1 < song->count; i++) {
        int64_t left = song->at[i], right = song->at[i + 1];
        if (left < 0 || right < 0 || (left == right && equal == i - 1))
            continue; /* of a row of equal symbols every other pair can be joined */
        if (left == right)
            equal = i;
        int64_t pair = left << 31 | right;
        Py_ssize_t at = (uint64_t)pair * 0x9E3779B97F4A7C15u >> 20 & (places - 1);
        while (table[at].times && table[at].pair != pair)
            at = (at + 1) & (places - 1);
        table[at].pair = pair;
        if (++table[at].times > most)
            most = table[at].times;
    }
    return most;
}

/* Make phrases of the pairs that occur most, and put them into the song; return how many. */
static Py_ssize_t join(Grammar *g, Pair *table, Py_ssize_t places)
{
    List *song = &g->rules[0].holds;
    int64_t least = count_pairs(song, table, places) / 2;
    Py_ssize_t many = 0, first = g->count;
    least = least < 2 ? 2 : least;
    for (Py_ssize_t at = 0; at < places; at++)
        if (table[at].times >= least)
            table[many++] = table[at];
    qsort(table, many, sizeof *table, by_times);
    int64_t symbols = g->kinds + g->count - 1;
    int64_t *joins = PyMem_Malloc((symbols + 1) * 2 * sizeof *joins); /* by the left one: right, phrase */
    if (joins == NULL) {
        g->failed = 1;
        return 0;
    }
    for (int64_t symbol = 0; symbol < symbols; symbol++)
        joins[2 * symbol] = joins[2 * symbol + 1] = -1;
    for (Py_ssize_t i = 0; i < many; i++) {
        int64_t left = table[i].pair >> 31, right = table[i].pair & 0x7FFFFFFF;
        if (joins[2 * left + 1] != -1 || joins[2 * right + 1] != -1)
            continue;
        Rule *rule = add_rule(g);
        if (rule == NULL || !push(&rule->holds, left) || !push(&rule->holds, right)) {
            g->failed = 1;
            break;
        }
        joins[2 * right + 1] = 0; /* taken */
        joins[2 * left] = right;
        joins[2 * left + 1] = g->kinds + g->count - 2;
    }
    Py_ssize_t written = 0;
    song = &g->rules[0].holds;
    for (Py_ssize_t i = 0; i < song->count; i++) {
        int64_t left = song->at[i];
        int joined = i + 1 < song->count && left >= 0 && joins[2 * left + 1] > 0
            && joins[2 * left] == song->at[i + 1];
        song->at[written++] = joined ? joins[2 * left + 1] : left;
        i += joined;
    }
    song->count = written;
    PyMem_Free(joins);
    return g->count - first;
}

/* Write the phrase in place of its number in a rule: at one place, or where it is -1 at all. */
static void write_out(Grammar *g, Rule *holder, int64_t number, Py_ssize_t place)
{
    List old = holder->holds, found = {0};
    const Rule *phrase = rule_of(g, number);
    for (Py_ssize_t i = 0; i < old.count; i++) {
        if (old.at[i] != number || (place >= 0 && place != i)) {
            g->failed |= !push(&found, old.at[i]);
            continue;
        }
        holder->bytes += phrase->bytes - 1;
        for (Py_ssize_t j = 0; j < phrase->holds.count; j++)
            g->failed |= !push(&found, phrase->holds.at[j]);
    }
    PyMem_Free(old.at);
    holder->holds = found;
}

/* Note how often each phrase is used and by which rules, and its bytes. */
static void measure(Grammar *g)
{
    for (Py_ssize_t r = 0; r < g->count; r++)
        g->rules[r].uses = g->rules[r].bytes = g->rules[r].holders.count = 0;
    for (Py_ssize_t r = 0; r < g->count; r++) {
        Rule *rule = &g->rules[r];
        for (Py_ssize_t i = 0; rule->there && i < rule->holds.count; i++) {
            Rule *held = rule_of(g, rule->holds.at[i]);
            if (held == NULL) {
                rule->bytes += rule->holds.at[i] < 0 ? 0 : g->sizes[rule->holds.at[i]];
                continue;
            }
            rule->bytes++;
            held->uses++;
            if (!held->holders.count || held->holders.at[held->holders.count - 1] != r)
                g->failed |= !push(&held->holders, r);
        }
    }
}

/* Write a phrase out wherever it is used. */
static void drop(Grammar *g, Py_ssize_t number)
{
    Rule *rule = &g->rules[number];
    rule->there = 0;
    for (Py_ssize_t i = 0; i < rule->holds.count; i++) {
        Rule *held = rule_of(g, rule->holds.at[i]);
        if (held == NULL)
            continue;
        held->uses += rule->uses - 1;
        for (Py_ssize_t h = 0; h < rule->holders.count; h++)
            g->failed |= !push(&held->holders, rule->holders.at[h]);
    }
    for (Py_ssize_t h = 0; h < rule->holders.count; h++)
        if (g->rules[rule->holders.at[h]].there)
            write_out(g, &g->rules[rule->holders.at[h]], g->kinds + number - 1, -1);
}

static int64_t gain(const Grammar *g, const Rule *rule)
{
    return rule->uses * (rule->bytes - 1) - rule->bytes - g->phrase_bytes;
}

/* Sort the phrases that there are, by what they lose or by their uses; return how many. */
static Py_ssize_t sorted(Grammar *g, Pair *table, int by_loss)
{
    Py_ssize_t count = 0;
    measure(g);
    for (Py_ssize_t r = 1; r < g->count; r++)
        if (g->rules[r].there) {
            table[count].pair = r;
            table[count++].times = by_loss ? -gain(g, &g->rules[r]) : g->rules[r].uses;
        }
    qsort(table, count, sizeof *table, by_times);
    return count;
}

static void write_out_losses(Grammar *g, Pair *table)
{
    Py_ssize_t count = sorted(g, table, 1);
    for (Py_ssize_t i = 0; i < count && !g->failed; i++)
        if (gain(g, &g->rules[table[i].pair]) <= 0)
            drop(g, table[i].pair);
}

/* Write out phrases that others, or a song that goes back to its loop, end with or begin with. */
static int write_out_borders(Grammar *g, int loops)
{
    int done = 0;
    for (Py_ssize_t r = 1; r <= g->count; r++) {
        Rule *rule = &g->rules[r < g->count ? r : 0]; /* the song comes last */
        List *holds = &rule->holds;
        for (int end = r == g->count; end < 2 && rule->there && (r < g->count || loops); end++)
            while (!g->failed && holds->at[end ? holds->count - 1 : 0] >= g->kinds) {
                Py_ssize_t place = end ? holds->count - 1 : 0;
                write_out(g, rule, holds->at[place], place);
                done = 1;
            }
    }
    return done && !g->failed;
}

static void find(Grammar *g, Pair *table, Py_ssize_t places, Py_ssize_t most, int loops)
{
    while (!g->failed && join(g, table, places))
        ;
    do
        write_out_losses(g, table);
    while (write_out_borders(g, loops));
    Py_ssize_t count = sorted(g, table, 0);
    for (Py_ssize_t i = most; i < count && !g->failed; i++)
        drop(g, table[i].pair);
}

/* Return the song and each phrase as a list; phrases are numbered anew. */
static PyObject *told(Grammar *g)
{
    PyObject *found = PyList_New(0);
    int64_t number = g->kinds;
    for (Py_ssize_t r = 1; r < g->count; r++)
        if (g->rules[r].there)
            g->rules[r].uses = number++;
    for (Py_ssize_t r = 0; found != NULL && r < g->count; r++) {
        const List *holds = &g->rules[r].holds;
        if (!g->rules[r].there)
            continue;
        PyObject *symbols = PyList_New(holds->count);
        for (Py_ssize_t i = 0; symbols != NULL && i < holds->count; i++) {
            const Rule *held = rule_of(g, holds->at[i]);
            PyObject *symbol = PyLong_FromLongLong(held ? held->uses : holds->at[i]);
            if (symbol == NULL || PyList_SetItem(symbols, i, symbol) < 0)
                Py_CLEAR(symbols);
        }
        if (symbols == NULL || PyList_Append(found, symbols) < 0)
            Py_CLEAR(found);
        Py_XDECREF(symbols);
    }
    return found;
}

static PyObject *phrases(PyObject *self, PyObject *args)
{
    Py_buffer b[2];
    Py_ssize_t most;
    long long phrase_bytes;
    if (!PyArg_ParseTuple(args, "y*y*nL", &b[0], &b[1], &most, &phrase_bytes))
        return NULL;
    Py_ssize_t length = b[0].len / 8, places = 16;
    const int64_t *symbols = b[0].buf;
    Grammar g = {.kinds = b[1].len / 8, .phrase_bytes = phrase_bytes, .sizes = b[1].buf};
    PyObject *found = NULL;
    int fits = most >= 0 && length + g.kinds < 1 << 30, loops = 0;
    while (places < 2 * length)
        places *= 2;
    Pair *table = PyMem_Malloc(places * sizeof *table);
    Rule *song = table == NULL ? NULL : add_rule(&g);
    for (Py_ssize_t i = 0; song != NULL && i < length; i++) {
        fits &= symbols[i] >= -1 && symbols[i] < g.kinds;
        loops |= symbols[i] < 0;
        g.failed |= !push(&song->holds, symbols[i]);
    }
    if (song == NULL)
        g.failed = 1;
    if (fits && !g.failed)
        find(&g, table, places, most, loops);
    if (!fits)
        PyErr_SetString(PyExc_ValueError, "there are symbols without a size");
    else if (g.failed)
        PyErr_NoMemory();
    else
        found = told(&g);
    for (Py_ssize_t r = 0; r < g.count; r++) {
        PyMem_Free(g.rules[r].holds.at);
        PyMem_Free(g.rules[r].holders.at);
    }
    PyMem_Free(g.rules);
    PyMem_Free(table);
    PyBuffer_Release(&b[0]);
    PyBuffer_Release(&b[1]);
    return found;
}

static PyMethodDef methods[] = {
    {"phrases", phrases, METH_VARARGS, "Return a song and the phrases in it."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_phrases", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__phrases(void)
{
    return PyModuleDef_Init(&module);
}
