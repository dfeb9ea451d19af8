/* Plays pieces for two voices on one pin: C99, and C++. Integers only, no heap, no library.
 *
 * A piece is a duet_song, in a file of its own. duet_player.c reckons when its pin changes, in cycles of
 * the clock that the song states, just as the routine that it was written for would do it. Either ask
 * for one change after the other (in an interrupt of a timer, say):
 *
 *     duet_player player;
 *     uint32_t cycle;
 *     duet_start(&player, &quay_song);
 *     for (int level; (level = duet_edge(&player, &cycle)) >= 0;)
 *         ...                          the pin has this level from this cycle on
 *
 * or give a clock and a pin, and let it play to the end: duet_play. The program chooses when cycle 0 is.
 * Cycles are counted modulo 2^32; changes are less than 2^31 apart.
 *
 * One-bit sound is harsh: keep the volume low at first. A pin needs a resistor or a driver stage before
 * a speaker.
 */
#ifndef DUET_PLAYER_H
#define DUET_PLAYER_H

#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* How a song's routine makes its tones. */
enum {
    DUET_PHASE = 0,   /* two accumulators, which settings are added to; the pin shows them in turn */
    DUET_COUNTER = 1, /* two counters of passes between flips; the pin shows them in turn */
    DUET_TIMER = 2    /* one timer that makes square waves, which the voices have in turn */
};

/* What a part of a drum is. */
enum { DUET_FALLING = 0, DUET_NOISE = 1, DUET_REST = 2 };

/* A tone. */
typedef struct {
    uint32_t setting;    /* DUET_PHASE: added each pass; DUET_COUNTER: passes between flips; DUET_TIMER: divisor */
    uint32_t millihertz; /* its frequency */
    uint8_t midi;        /* its MIDI number */
} duet_pitch;

/* A part of a drum. */
typedef struct {
    uint8_t kind;          /* DUET_FALLING, DUET_NOISE, DUET_REST */
    uint32_t start;        /* cycles from the start of the drum's step to its first */
    uint32_t cycles;       /* how long it sounds */
    uint32_t microseconds; /* the same */
    uint32_t setting;      /* falling: cycles of the first half period; noise: cycles between random bits;
                              DUET_TIMER: the first divisor, or the smallest; rest: 0 */
    uint32_t change;       /* falling: cycles by which each half period is longer than the one before;
                              DUET_TIMER: growth a tick, or mask of what chance may add; else 0 */
} duet_part;

/* A drum: while it sounds, from the start of its step on, the voices don't. */
typedef struct {
    uint8_t first_part;    /* the first of its parts, from 0; they sound one after the other */
    uint8_t parts;         /* how many */
    uint32_t passes;       /* of the loop, or ticks, until the voices sound */
    uint32_t microseconds; /* the same */
} duet_drum;

/* Some steps that sound alike, but for a drum that the first may begin with. */
typedef struct {
    uint16_t steps;
    uint8_t voice1; /* the n-th tone, from 1; 0: silent. Of two equal ones in a row the second goes on */
    uint8_t voice2;
    uint8_t drum;   /* the n-th drum, from 1; 0: none */
} duet_event;

typedef struct {
    uint8_t method;             /* DUET_PHASE, DUET_COUNTER, DUET_TIMER */
    uint32_t clock_hz;
    uint32_t step_cycles;
    uint32_t step_microseconds;
    uint32_t steps;
    uint32_t pass_cycles;       /* a pass of the loop, or a tick */
    uint32_t step_passes;       /* in which voices sound; what is left of a step, the pin stands still */
    uint32_t voice2_cycles;     /* from showing voice 1 to showing voice 2; DUET_TIMER: ticks a turn */
    uint8_t bits;               /* DUET_PHASE: of an accumulator; its highest is heard */
    uint8_t silent_passes;      /* DUET_COUNTER: what a silent voice counts */
    uint8_t noise_bit;          /* mask: which bit of the noise is heard */
    uint8_t read_passes;        /* at the start of an event; the voices make up for them */
    const uint16_t *shown;      /* cycles in them at which voice 1, voice 2, voice 1 ... are shown */
    uint8_t shown_count;
    uint8_t shown_before_drum;
    uint8_t shown_before_end;
    uint16_t end_cycles;        /* from the end to when the pin is left low */
    uint16_t first_divisor;     /* DUET_TIMER: what it begins with */
    uint32_t loop_event;        /* the event after the last; DUET_NO_LOOP: the piece ends */
    uint32_t event_count;
    const duet_event *events;
    uint8_t pitch_count;
    const duet_pitch *pitches;
    uint8_t drum_count;
    const duet_drum *drums;
    const duet_part *parts;
} duet_song;

#define DUET_NO_LOOP 0xFFFFFFFFu

/* A piece that is being played. All of it is the player's, but step: the step under way, from 0. */
typedef struct {
    const duet_song *song;
    uint32_t step;
    uint32_t event;
    uint32_t start;    /* of the event */
    uint32_t at;       /* of the pass, tick or flip to come */
    uint32_t passes;   /* to come in it */
    uint32_t phase[2];
    uint32_t left[2];
    uint32_t length;   /* of a half period, or the timer's count */
    uint32_t drum_end;
    uint32_t value;
    uint16_t chance;
    uint16_t turn;
    uint16_t steps;    /* to come in the event */
    uint8_t level[2];
    uint8_t pin;
    uint8_t state;
    uint8_t shown;
    uint8_t shows;
    uint8_t part;
    uint8_t parts;
    uint8_t drum_level;
} duet_player;

/* What the player is connected to. */
typedef struct {
    void *context; /* handed to both */
    void (*pin)(void *context, int level);
    int (*clock)(void *context, uint32_t cycle); /* come back when it is this cycle; not 0: stop */
} duet_host;

/* Begin a piece. */
void duet_start(duet_player *player, const duet_song *song);

/* Return the pin's next level, 0 or 1, and from which cycle on it has it; -1: the piece has ended. */
int duet_edge(duet_player *player, uint32_t *cycle);

/* Play on to the end, then return 1; or 0 when the clock says so. The pin is low then. */
int duet_play(duet_player *player, const duet_host *host);

#ifdef __cplusplus
}
#endif

#endif
