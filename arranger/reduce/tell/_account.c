/* What became of the notes compiled: `_Accountant` in `account.py` and `Heard` in `heard.py` say what
   each thing is and why, and do the same where this couldn't be compiled. It needs Python's stable
   interface of 3.11 alone. */

#define Py_LIMITED_API 0x030B0000
#define PY_SSIZE_T_CLEAN
#define SOURCE "1f6d0904"
#include <Python.h>
#include <math.h>
#include <stdint.h>

typedef int64_t num;
typedef uint8_t flag;

/* The columns, in the order in which they are given. */
enum { ONSET, END, NOTE_END, PITCH, OUT, PART, LEAD, OCTAVE_OF, DUPLICATE_OF, SOUND, FIRST, NUMBERS };
enum { WRITTEN_END, RINGS, OFFSET, FLOATS };
enum { KEPT, CHANGED, MERGED, DROPPED };
enum { /* 0 is no reason */
    REPEAT_TIED = 1, SAME_PITCH_DOUBLED, OCTAVE_DOUBLED, UNDER_DRUM, VOICES_FULL, STANDS_ALONE,
    SAME_STEP, NO_TURN, DELAYED_BY_DRUM, MOVED_TO_STEP, OCTAVE_FOLDED, LENGTHENED_TO_STEP,
    SHORTENED_FOR_GAP, SHORTENED_BY_NEXT_NOTE, BROKEN_CHORD, DRUM_THINNED
};
enum { MOST_REASONS = 8, FEW = 8, NONE = -2 };

typedef struct {
    num voice, note, pitch, start, end, first, last; /* of voice 0 or 1 */
    num next;                                        /* the next run of the note, or -1 */
} Run;

/* Numbers that are handed back, as many as there are. */
typedef struct {
    num *at;
    Py_ssize_t count, room;
} Column;

typedef struct {
    Py_ssize_t notes, steps;
    int all_free;
    const num *of[NUMBERS];
    const double *is[FLOATS];
    const flag *tune, *drum, *refused;
    const flag *turning[2], *silenced; /* by step, as all that follow */
    const num *source[2], *pitches[2], *drum_at;
    const double *hidden;
    const num *said;      /* the sound of each step; 0: none */
    const flag *joined;   /* (sounds, sounds): whether the first says the second */
    Py_ssize_t sounds, gap;
    double step_seconds, steps_per_beat, loose, drum_seconds, start_seconds, end_share, heard_share;
    num most_takers;
    num *before, *free;     /* how many free steps lie before each; the free ones */
    Run *runs;              /* in order of their start */
    num many, *first_run;   /* of each note, or -1 */
    num *alike, begins[25]; /* runs by pitch class and voice, and where each such group begins */
    num *found;             /* room for all runs */
    Column spans, by;
    Py_ssize_t begun; /* where the notes begin that the present entry blames */
} Song;

typedef struct {
    num note, outcome, reasons[MOST_REASONS], pitch, sound;
    int many_reasons;
    double late;
} Entry;

static int add(Column *c, num value)
{
    if (c->count == c->room) {
        Py_ssize_t room = 2 * c->room + 1024;
        num *at = PyMem_Realloc(c->at, room * sizeof(num));
        if (at == NULL)
            return 0;
        c->at = at, c->room = room;
    }
    c->at[c->count++] = value;
    return 1;
}

static void add_span(Song *s, num voice, num step, num steps)
{
    if (!(add(&s->spans, voice + 1) && add(&s->spans, step) && add(&s->spans, steps)))
        PyErr_NoMemory();
}

/* How many notes the present entry blames. */
static num blamed(const Song *s)
{
    return s->by.count - s->begun;
}

static int is_blamed(const Song *s, num note)
{
    for (Py_ssize_t i = s->begun; i < s->by.count; i++)
        if (s->by.at[i] == note)
            return 1;
    return 0;
}

static void blame(Song *s, num note)
{
    if (!is_blamed(s, note) && !add(&s->by, note))
        PyErr_NoMemory();
}

static void blame_instead(Song *s, const num *notes, int many)
{
    s->by.count = s->begun;
    for (int i = 0; i < many; i++)
        if (!add(&s->by, notes[i]))
            PyErr_NoMemory();
}

static int has(const Entry *e, num reason)
{
    for (int i = 0; i < e->many_reasons; i++)
        if (e->reasons[i] == reason)
            return 1;
    return 0;
}

static void give(Entry *e, num reason)
{
    if (!has(e, reason))
        e->reasons[e->many_reasons++] = reason;
}

static void conclude(Entry *e, num outcome, num reason)
{
    e->outcome = outcome, e->many_reasons = 0;
    give(e, reason);
}

/* `Heard` */

static num sounding(const Song *s, int voice, num step)
{
    return s->silenced[step] ? -1 : s->pitches[voice][step];
}

static num free_steps(const Song *s, num start, num end)
{
    return s->before[end] - s->before[start];
}

static num tied_to(const Song *s, const Run *run)
{
    num before = run->first - 1;
    if (before < 0 || s->hidden[run->first] > 0)
        return -1;
    for (int other = 0; other < 2; other++) {
        int voice = run->voice ^ other;
        num note = s->source[voice][before];
        if (sounding(s, voice, before) == run->pitch && note != run->note && note != -1)
            return note;
    }
    return -1;
}

/* Whether a run makes a silent step for a note, and for which. */
static int gap_before(const Song *s, const Run *run, num *repetition)
{
    num step = run->end + 1;
    if (run->end >= s->steps || s->source[run->voice][run->end] >= 0 || s->silenced[run->end])
        return 0;
    for (int voice = 0; step < s->steps && voice < 2; voice++)
        if (sounding(s, voice, step) == run->pitch) {
            *repetition = s->source[voice][step];
            return 1;
        }
    return 0;
}

static num pitch_class(num pitch)
{
    return (pitch % 12 + 12) % 12;
}

/* Find the runs of a pitch class that are heard in a stretch, in order of voice. */
static num within(Song *s, num kind, num start, num end)
{
    num many = 0;
    for (int voice = 0; voice < 2; voice++) {
        num low = s->begins[2 * kind + voice], after = s->begins[2 * kind + voice + 1];
        for (num high = after; low < high;) {
            num middle = (low + high) / 2;
            if (s->runs[s->alike[middle]].last <= start)
                low = middle + 1;
            else
                high = middle;
        }
        for (; low < after && s->runs[s->alike[low]].first < end; low++) {
            const Run *run = &s->runs[s->alike[low]];
            num from = run->first > start ? run->first : start, to = run->last < end ? run->last : end;
            if (s->all_free || free_steps(s, from, to) != 0)
                s->found[many++] = s->alike[low];
        }
    }
    return many;
}

/* Whether a run has a pitch, or is of one of three notes, or begins where another note does. */
typedef struct {
    num pitch, notes[3], onset;
} Wanted;

static int is_wanted(const Song *s, const Run *run, const Wanted *w)
{
    return run->pitch == w->pitch || run->note == w->notes[0] || run->note == w->notes[1]
        || run->note == w->notes[2] || s->of[ONSET][run->note] == w->onset;
}

/* On how many steps of a stretch any of the wanted runs among those found is heard. */
static num heard_steps(const Song *s, num many, const Wanted *w, num start, num end)
{
    num total = 0, reached = start, at[2] = {0, many};
    while (at[1] > 0 && s->runs[s->found[at[1] - 1]].voice == 1)
        at[1]--;
    for (num ends[2] = {at[1], many};;) { /* those of either voice rise; the earlier one first */
        const Run *next[2];
        for (int voice = 0; voice < 2; voice++) {
            while (at[voice] < ends[voice] && !is_wanted(s, &s->runs[s->found[at[voice]]], w))
                at[voice]++;
            next[voice] = at[voice] < ends[voice] ? &s->runs[s->found[at[voice]]] : NULL;
        }
        int voice = next[0] == NULL || (next[1] != NULL && next[1]->first < next[0]->first);
        const Run *run = next[voice];
        if (run == NULL)
            return total;
        at[voice]++;
        num first = run->first > reached ? run->first : reached, last = run->last < end ? run->last : end;
        if (first < last)
            total += free_steps(s, first, last), reached = last;
    }
}

/* `_Accountant` */

static int is_gap(const Song *s, num note, num step)
{
    num repetition;
    for (num at = s->first_run[note]; at >= 0; at = s->runs[at].next) {
        const Run *run = &s->runs[at];
        if (run->end == step && step < s->of[END][note] && gap_before(s, run, &repetition))
            return 1;
    }
    return 0;
}

/* List the notes that the voices are busy with on a step; a gap keeps one busy too. */
static int holders(const Song *s, num step, num *found)
{
    int many = 0;
    for (int voice = 0; voice < 2; voice++) {
        const num *row = s->source[voice];
        num holder = row[step];
        if (holder < 0 && step && row[step - 1] >= 0 && is_gap(s, row[step - 1], step))
            holder = row[step - 1];
        if (holder >= 0)
            found[many++] = holder;
    }
    return many;
}

/* Blame the notes that keep the voices busy from a step on: those of the first steps. */
static void blame_rivals(Song *s, num first, num end)
{
    for (num step = first; step < end && blamed(s) < 2; step++) {
        num found[2];
        int many = holders(s, step, found), known[2];
        for (int i = 0; i < many; i++)
            known[i] = is_blamed(s, found[i]);
        for (int i = 0; i < many; i++)
            if (!known[i] && !add(&s->by, found[i]))
                PyErr_NoMemory();
    }
}

static num crowded(const Song *s)
{
    return blamed(s) >= 2 ? VOICES_FULL : STANDS_ALONE;
}

static int waits(const Song *s, num note)
{
    return s->turning[1][s->of[ONSET][note]] && !s->tune[note];
}

static int in_turn(const Song *s, const Entry *e)
{
    for (num at = s->first_run[e->note]; !s->tune[e->note] && at >= 0; at = s->runs[at].next) {
        const Run *run = &s->runs[at];
        if (s->turning[run->voice][run->start] || s->turning[run->voice][run->end - 1])
            return 1;
    }
    return 0;
}

static int mostly_heard(const Song *s, num note)
{
    num heard = 0, length = s->of[END][note] - s->of[ONSET][note];
    for (num at = s->first_run[note]; at >= 0; at = s->runs[at].next)
        heard += s->runs[at].last - s->runs[at].first;
    return (double)heard > (1 - s->heard_share) * (double)length;
}

static void blame_taker(Song *s, const Run *run)
{
    if (run->end < s->steps && s->source[run->voice][run->end] >= 0)
        blame(s, s->source[run->voice][run->end]);
}

static void cut(Song *s, Entry *e, const Run *last)
{
    num repetition;
    if (last->end < s->of[END][e->note] && gap_before(s, last, &repetition)) {
        give(e, SHORTENED_FOR_GAP);
        blame(s, repetition);
    } else if (last->last < last->end) {
        give(e, SHORTENED_BY_NEXT_NOTE);
        blame(s, s->drum_at[last->last]);
    } else if (last->end < s->of[NOTE_END][e->note]) {
        give(e, SHORTENED_BY_NEXT_NOTE);
        blame_taker(s, last);
    } else {
        give(e, MOVED_TO_STEP);
    }
}

static int is_of_turns(num reason)
{
    return reason == VOICES_FULL || reason == SHORTENED_BY_NEXT_NOTE || reason == SHORTENED_FOR_GAP;
}

/* Say "broken-chord" for what happens to the notes of a chord because they take turns. */
static void say_broken(Song *s, Entry *e, Py_ssize_t firm)
{
    num reasons[MOST_REASONS] = {BROKEN_CHORD};
    int many = 1;
    for (int i = 0; i < e->many_reasons; i++)
        if (!is_of_turns(e->reasons[i]))
            reasons[many++] = e->reasons[i];
    if (many > e->many_reasons || !in_turn(s, e))
        return;
    e->many_reasons = many, s->by.count = s->begun + firm;
    for (int i = 0; i < many; i++)
        e->reasons[i] = reasons[i];
}

/* Give the reasons of a note that is heard late; 0: so late that it counts as dropped. */
static int say_late(Song *s, Entry *e, num onset, num first)
{
    int drum = free_steps(s, onset, first) == 0;
    if (drum)
        blame(s, s->drum_at[onset]);
    else
        blame_rivals(s, onset, first);
    if ((double)(first - onset) >= s->steps_per_beat && !in_turn(s, e) && !mostly_heard(s, e->note)) {
        conclude(e, DROPPED, drum ? UNDER_DRUM : crowded(s));
        return 0;
    }
    give(e, drum ? DELAYED_BY_DRUM : VOICES_FULL);
    return 1;
}

static void say_length(Song *s, Entry *e, const Run *first, const Run *last)
{
    double written = s->is[WRITTEN_END][e->note];
    double enough = written - s->is[RINGS][e->note] - s->end_share;
    if ((double)last->last > written + s->end_share) {
        give(e, LENGTHENED_TO_STEP);
    } else if ((double)last->last < enough) {
        cut(s, e, last);
    } else if (last != first) {
        for (const Run *a = first; a->next >= 0; a = &s->runs[a->next]) {
            num again = s->runs[a->next].first;
            if (a->last < again && (double)a->last < enough) {
                give(e, SHORTENED_BY_NEXT_NOTE);
                blame_taker(s, first);
                return;
            }
        }
    }
}

/* Keep each note that is blamed once, and the note itself not at all. */
static void blame_others_once(Song *s, num note)
{
    Py_ssize_t after = s->by.count;
    s->by.count = s->begun;
    for (Py_ssize_t i = s->begun; i < after; i++)
        if (s->by.at[i] != note && !is_blamed(s, s->by.at[i]))
            s->by.at[s->by.count++] = s->by.at[i];
}

static void say_sounding(Song *s, Entry *e)
{
    num note = e->note, onset = s->of[ONSET][note];
    const Run *first = &s->runs[s->first_run[note]], *last = first;
    for (const Run *run = first; run->next >= 0;) {
        run = &s->runs[run->next];
        last = run->last > last->last ? run : last;
    }
    num tied = tied_to(s, first), late = first->first - onset;
    Py_ssize_t firm = 0; /* of those that are blamed, the drum */
    double hidden = s->hidden[first->first];
    e->pitch = first->pitch;
    if (tied >= 0) {
        conclude(e, MERGED, first->first == onset ? REPEAT_TIED : SAME_PITCH_DOUBLED);
        blame(s, tied);
    } else {
        if (late > 0) {
            if (!say_late(s, e, onset, first->first)) {
                e->pitch = -1;
                return;
            }
            firm = has(e, DELAYED_BY_DRUM);
        } else if (fabs(s->is[OFFSET][note]) > s->loose) {
            give(e, MOVED_TO_STEP);
        }
        if (hidden > s->drum_seconds)
            give(e, DELAYED_BY_DRUM);
        if (first->pitch != s->of[PITCH][note])
            give(e, OCTAVE_FOLDED);
        say_length(s, e, first, last);
        say_broken(s, e, firm);
        if (hidden > s->start_seconds)
            blame(s, s->drum_at[first->first]);
        blame_others_once(s, note);
        e->outcome = e->many_reasons ? CHANGED : KEPT;
        e->late = (double)late * s->step_seconds + hidden;
    }
    for (const Run *run = first;; run = &s->runs[run->next]) {
        add_span(s, run->voice, run->first, run->last - run->first);
        if (run->next < 0)
            return;
    }
}

static int is_on_same_step(const Song *s, num note, num other)
{
    const double *offset = s->is[OFFSET];
    return s->of[PART][note] == s->of[PART][other] && s->of[ONSET][note] == s->of[ONSET][other]
        && fabs(offset[note] - offset[other]) > s->loose;
}

/* List the first notes that had the turns for which a note waited. */
static int takers(const Song *s, num note, num *found)
{
    int many = 0;
    for (num step = s->of[ONSET][note]; step < s->of[END][note] && many < s->most_takers; step++)
        for (int voice = 0; voice < 2; voice++) {
            num taker = s->turning[voice][step] ? s->source[voice][step] : -1;
            int known = taker < 0;
            for (int i = 0; i < many; i++)
                known |= found[i] == taker;
            if (!known)
                found[many++] = taker;
        }
    return many;
}

static void say_dropped(Song *s, Entry *e)
{
    num note = e->note, onset = s->of[ONSET][note], end = s->of[END][note], others[FEW];
    int many = 0;
    if (free_steps(s, onset, end) == 0) {
        conclude(e, DROPPED, UNDER_DRUM);
        blame(s, s->drum_at[onset]);
        return;
    }
    blame_rivals(s, onset, end);
    for (Py_ssize_t i = s->begun; i < s->by.count; i++)
        if (is_on_same_step(s, note, s->by.at[i]))
            others[many++] = s->by.at[i];
    num reason = many ? SAME_STEP : NO_TURN;
    if (!many && blamed(s) >= 2 && waits(s, note))
        many = takers(s, note, others);
    conclude(e, DROPPED, many ? reason : crowded(s));
    if (many)
        blame_instead(s, others, many);
}

/* Say that a note is heard in the wanted runs, as the first of them has it; 0: there are none. */
static int say_merged(Song *s, Entry *e, num many, const Wanted *w, double needed)
{
    num onset = s->of[ONSET][e->note], end = s->of[END][e->note], pitch = NONE;
    for (num i = 0; i < many && pitch == NONE; i++)
        if (is_wanted(s, &s->runs[s->found[i]], w))
            pitch = s->runs[s->found[i]].pitch;
    if (pitch == NONE || (double)heard_steps(s, many, w, onset, end) < needed)
        return 0;
    e->pitch = pitch;
    conclude(e, MERGED, pitch == s->of[OUT][e->note] ? SAME_PITCH_DOUBLED : OCTAVE_DOUBLED);
    for (num i = 0; i < many; i++) {
        const Run *run = &s->runs[s->found[i]];
        if (run->pitch != pitch || !is_wanted(s, run, w))
            continue;
        num low = s->before[run->first > onset ? run->first : onset];
        num high = s->before[run->last < end ? run->last : end];
        add_span(s, run->voice, s->free[low], s->free[high - 1] + 1 - s->free[low]);
        blame(s, run->note);
    }
    return 1;
}

static void say_silent(Song *s, Entry *e)
{
    num note = e->note, onset = s->of[ONSET][note], end = s->of[END][note], pitch = s->of[OUT][note];
    double needed = waits(s, note) ? 0 : s->heard_share * (double)(end - onset);
    num many = within(s, pitch_class(pitch), onset, end);
    num octave = s->of[OCTAVE_OF][note], twin = s->of[DUPLICATE_OF][note];
    const num *lead = s->of[LEAD];
    Wanted same = {pitch, {NONE, NONE, NONE}, NONE}, with_it = {NONE, {NONE, NONE, NONE}, onset};
    Wanted copied = {
        NONE, {lead[note], octave < 0 ? NONE : lead[octave], twin < 0 ? NONE : lead[twin]}, NONE};
    if (!say_merged(s, e, many, &same, needed) && !say_merged(s, e, many, &copied, 0)
        && !say_merged(s, e, many, &with_it, needed))
        say_dropped(s, e);
}

static void say_drum(Song *s, Entry *e)
{
    num note = e->note, step = s->of[ONSET][note], mine = s->of[SOUND][note], said = s->said[step];
    num chosen = s->drum_at[step], first = s->of[FIRST][note], found[2];
    if (said == 0 || said == s->gap) {
        conclude(e, DROPPED, DRUM_THINNED);
        blame_instead(s, found, holders(s, step, found));
        return;
    }
    if (!s->joined[said * s->sounds + mine]) {
        conclude(e, DROPPED, SAME_STEP);
        blame(s, chosen);
        return;
    }
    if (chosen >= 0 && chosen < s->notes && s->of[SOUND][chosen] == mine)
        first = chosen;
    if (note != first) {
        conclude(e, MERGED, SAME_PITCH_DOUBLED);
        blame(s, first);
    } else if (fabs(s->is[OFFSET][note]) > s->loose) {
        conclude(e, CHANGED, MOVED_TO_STEP);
    }
    e->sound = said;
    add_span(s, -1, step, 1);
}

/* What is given and handed back */

static Py_ssize_t runs_of(Song *s, int voice, Run *runs)
{
    const num *source = s->source[voice], *pitches = s->pitches[voice];
    Py_ssize_t many = 0;
    for (num start = 0, end; start < s->steps; start = end) {
        for (end = start + 1; end < s->steps; end++)
            if (source[end] != source[start] || pitches[end] != pitches[start])
                break;
        num low = s->before[start], high = s->before[end];
        if (source[start] < 0 || low == high)
            continue;
        Run run = {voice, source[start], pitches[start], start, end, s->free[low], s->free[high - 1] + 1, -1};
        runs[many++] = run;
    }
    return many;
}

/* List the runs in order of their start, and by note and pitch class; `apart`: room for all. */
static void list_runs(Song *s, Run *apart, num *last_run)
{
    Py_ssize_t ends[2], at[2], groups[24] = {0};
    ends[0] = runs_of(s, 0, apart);
    ends[1] = ends[0] + runs_of(s, 1, apart + ends[0]);
    for (at[0] = 0, at[1] = ends[0]; at[0] < ends[0] || at[1] < ends[1];) {
        int voice = at[0] == ends[0] || (at[1] < ends[1] && apart[at[1]].start < apart[at[0]].start);
        s->runs[s->many++] = apart[at[voice]++];
    }
    for (Py_ssize_t note = 0; note < s->notes; note++)
        s->first_run[note] = -1;
    for (num i = 0; i < s->many; i++) {
        const Run *run = &s->runs[i];
        if (s->first_run[run->note] < 0)
            s->first_run[run->note] = i;
        else
            s->runs[last_run[run->note]].next = i;
        last_run[run->note] = i;
        groups[2 * pitch_class(run->pitch) + run->voice]++;
    }
    for (int group = 0; group < 24; group++) {
        s->begins[group + 1] = s->begins[group] + groups[group];
        groups[group] = s->begins[group];
    }
    for (num i = 0; i < s->many; i++)
        s->alike[groups[2 * pitch_class(s->runs[i].pitch) + s->runs[i].voice]++] = i;
}

static int is_whole(const Song *s, const num *ids, Py_ssize_t many)
{
    for (int voice = 0; voice < 2; voice++)
        for (Py_ssize_t step = 0; step < s->steps; step++)
            if (s->source[voice][step] >= s->notes)
                return 0;
    for (Py_ssize_t step = 0; step < s->steps; step++)
        if (s->said[step] < 0 || s->said[step] >= s->sounds)
            return 0;
    for (Py_ssize_t note = 0; note < s->notes; note++)
        if (s->of[SOUND][note] < 0 || s->of[SOUND][note] >= s->sounds)
            return 0;
    for (Py_ssize_t i = 0; i < many; i++) {
        if (ids[i] < 0 || ids[i] >= s->notes)
            return 0;
        if (s->refused[ids[i]])
            continue;
        num onset = s->of[ONSET][ids[i]], end = s->of[END][ids[i]];
        if (onset < 0 || onset >= s->steps || end < onset || end > s->steps
            || s->of[OCTAVE_OF][ids[i]] >= s->notes || s->of[DUPLICATE_OF][ids[i]] >= s->notes)
            return 0;
    }
    return 1;
}

/* Write the entry of each of some notes: outcome, reasons of five bits each, pitch, sound, and where
   its spans and the notes it blames end. */
static void tell(Song *s, const num *ids, Py_ssize_t many, num *rows, double *late)
{
    for (Py_ssize_t i = 0; i < many; i++) {
        Entry e = {.note = ids[i], .pitch = -1};
        s->begun = s->by.count;
        if (s->refused[e.note])
            e.outcome = DROPPED;
        else if (s->drum[e.note])
            say_drum(s, &e);
        else if (s->first_run[e.note] >= 0)
            say_sounding(s, &e);
        else
            say_silent(s, &e);
        num *row = rows + 6 * i;
        row[0] = e.outcome, row[1] = 0, row[2] = e.pitch, row[3] = e.sound;
        row[4] = s->spans.count / 3, row[5] = s->by.count;
        while (e.many_reasons)
            row[1] = row[1] << 5 | e.reasons[--e.many_reasons];
        late[i] = e.late;
    }
}

static int tell_with_room(Song *s, const num *ids, Py_ssize_t many, num *rows, double *late)
{
    Py_ssize_t most = 2 * s->steps;
    num *numbers = PyMem_Calloc(2 * (s->steps + 1) + 2 * s->notes + 2 * most + 1, sizeof(num));
    Run *runs = PyMem_Calloc(2 * most + 1, sizeof(Run));
    if (numbers == NULL || runs == NULL) {
        PyErr_NoMemory();
    } else {
        s->before = numbers, s->free = s->before + s->steps + 1;
        s->first_run = s->free + s->steps + 1;
        s->alike = s->first_run + 2 * s->notes, s->found = s->alike + most;
        s->runs = runs;
        for (num step = 0, many_free = 0; step < s->steps; step++) {
            if (!s->silenced[step])
                s->free[many_free++] = step;
            s->before[step + 1] = many_free;
        }
        s->all_free = s->before[s->steps] == s->steps;
        list_runs(s, runs + most, s->first_run + s->notes);
        tell(s, ids, many, rows, late);
    }
    PyMem_Free(numbers);
    PyMem_Free(runs);
    return !PyErr_Occurred();
}

enum { STEPS = NUMBERS + FLOATS + 3, JOINED = STEPS + 10, IDS, GIVEN, ROWS = GIVEN, LATE, ALL };
/* Bytes of a value of each array that is given of notes and steps. */
static const char SIZES[] = "88888888888888111"
                            "1118888888";

static int take_buffers(PyObject *arrays, Py_buffer *buffers)
{
    int taken = 0;
    for (; taken < ALL; taken++) {
        PyObject *array = PyTuple_GetItem(arrays, taken);
        if (array == NULL || PyObject_GetBuffer(array, &buffers[taken], taken < GIVEN ? PyBUF_SIMPLE : PyBUF_WRITABLE))
            break;
    }
    return taken;
}

static int fit(const Py_buffer *b, const Song *s, Py_ssize_t many)
{
    for (int i = 0; i < JOINED; i++)
        if (b[i].len != (SIZES[i] - '0') * (i < STEPS ? s->notes : s->steps))
            return 0;
    return b[JOINED].len == s->sounds * s->sounds && b[IDS].len == 8 * many && b[ROWS].len == 48 * many
        && b[LATE].len == 8 * many;
}

static PyObject *bytes_of(const Column *c)
{
    return PyBytes_FromStringAndSize((const char *)c->at, c->count * (Py_ssize_t)sizeof(num));
}

static PyObject *entries(PyObject *self, PyObject *args)
{
    Py_buffer b[ALL];
    PyObject *arrays, *found = NULL;
    Song s = {0};
    long long most_takers;
    if (!PyArg_ParseTuple(args, "O!nndddddddL", &PyTuple_Type, &arrays, &s.sounds, &s.gap, &s.step_seconds, &s.steps_per_beat,
                          &s.loose, &s.drum_seconds, &s.start_seconds, &s.end_share, &s.heard_share,
                          &most_takers))
        return NULL;
    int taken = take_buffers(arrays, b);
    if (taken == ALL) {
        Py_ssize_t many = b[IDS].len / 8;
        s.notes = b[0].len / 8, s.steps = b[STEPS].len;
        for (int i = 0; i < NUMBERS; i++)
            s.of[i] = b[i].buf;
        for (int i = 0; i < FLOATS; i++)
            s.is[i] = b[NUMBERS + i].buf;
        s.tune = b[STEPS - 3].buf, s.drum = b[STEPS - 2].buf, s.refused = b[STEPS - 1].buf;
        for (int voice = 0; voice < 2; voice++) {
            s.turning[voice] = b[STEPS + voice].buf;
            s.source[voice] = b[STEPS + 3 + voice].buf, s.pitches[voice] = b[STEPS + 5 + voice].buf;
        }
        s.silenced = b[STEPS + 2].buf, s.drum_at = b[STEPS + 7].buf, s.hidden = b[STEPS + 8].buf;
        s.said = b[STEPS + 9].buf, s.joined = b[JOINED].buf;
        s.most_takers = most_takers < FEW - 1 ? most_takers : FEW - 1;
        if (!fit(b, &s, many) || !is_whole(&s, b[IDS].buf, many))
            PyErr_SetString(PyExc_ValueError, "the arrays don't fit each other");
        else if (tell_with_room(&s, b[IDS].buf, many, b[ROWS].buf, b[LATE].buf))
            found = Py_BuildValue("NN", bytes_of(&s.spans), bytes_of(&s.by));
    }
    PyMem_Free(s.spans.at);
    PyMem_Free(s.by.at);
    while (taken)
        PyBuffer_Release(&b[--taken]);
    return found;
}

static PyMethodDef methods[] = {
    {"entries", entries, METH_VARARGS, "Write what became of notes; return their spans and whom they blame."},
    {NULL, NULL, 0, NULL},
};

static struct PyModuleDef module = {
    .m_base = PyModuleDef_HEAD_INIT, .m_name = "_account", .m_doc = SOURCE, .m_methods = methods};

PyMODINIT_FUNC PyInit__account(void)
{
    return PyModuleDef_Init(&module);
}
