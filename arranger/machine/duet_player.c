/* The player of duet_player.h. It goes from write to write of the pin, as the routine does that a piece
 * was written for, and tells those that change it. */
#include "duet_player.h"

enum { SHOW, DRUM, FIRST, SECOND, LAST_SHOW, LOW, TICK, FLIPS, FADE, ENDED };

#define NOISE_SEED 0xFFFFu /* x^16 + x^5 + x^3 + x^2 + 1, shifted left */
#define NOISE_TAPS 0x002Du
#define TIMER_SEED 0xACE1u /* x^16 + x^14 + x^13 + x^11 + 1, shifted right */
#define TIMER_TAPS 0xB400u

static const duet_event *event_of(const duet_player *player)
{
    return &player->song->events[player->event];
}

static uint32_t setting_of(const duet_player *player, int voice)
{
    const duet_event *event = event_of(player);
    uint8_t tone = voice ? event->voice2 : event->voice1;
    return tone ? player->song->pitches[tone - 1].setting : 0;
}

static int before(uint32_t cycle, uint32_t other)
{
    return cycle - other >= 0x80000000u;
}

/* ---- the loop that shows the voices in turn */

static void count(duet_player *player, int voice)
{
    const duet_song *song = player->song;
    uint32_t setting = setting_of(player, voice);
    if (song->method == DUET_PHASE) {
        player->phase[voice] += setting;
        player->level[voice] = player->phase[voice] >> (song->bits - 1) & 1;
    } else if (--player->left[voice] == 0) {
        if (setting)
            player->level[voice] ^= 1;
        player->left[voice] = setting ? setting : song->silent_passes;
    }
}

static void begin_part(duet_player *player)
{
    const duet_part *part = &player->song->parts[player->part];
    player->at = player->start + part->start;
    player->drum_end = player->at + part->cycles;
    player->length = part->setting;
    player->chance = NOISE_SEED;
}

static void begin_voices(duet_player *player, uint32_t begun)
{
    const duet_song *song = player->song;
    player->at = player->start + begun * song->pass_cycles;
    player->passes = player->steps * song->step_passes - begun;
    player->state = FIRST;
}

static void begin_event(duet_player *player)
{
    const duet_song *song = player->song;
    const duet_event *event = event_of(player);
    player->steps = event->steps;
    player->shown = 0;
    player->shows = event->drum ? song->shown_before_drum : song->shown_count;
    if (song->method == DUET_TIMER) {
        player->state = TICK;
        player->passes = 0;
        return;
    }
    player->state = SHOW;
}

static void next_event(duet_player *player)
{
    const duet_song *song = player->song;
    const duet_event *event = event_of(player);
    player->start += event->steps * song->step_cycles;
    player->step += event->steps;
    player->event += 1;
    if (player->event == song->event_count && song->loop_event != DUET_NO_LOOP) {
        player->event = song->loop_event;
        player->step = 0;
        for (event = song->events; event != event_of(player); event++)
            player->step += event->steps;
    }
    if (player->event < song->event_count) {
        begin_event(player);
    } else if (song->method == DUET_TIMER) {
        player->state = FADE;
    } else {
        player->state = LAST_SHOW;
        player->shown = 0;
        player->shows = song->shown_before_end;
    }
}

/* Show the voices in turn, while the routine reads an event. */
static int show(duet_player *player, uint32_t *cycle)
{
    *cycle = player->start + player->song->shown[player->shown];
    return player->level[player->shown++ % 2];
}

/* One write of a drum; -1: it has ended. */
static int drum_write(duet_player *player, uint32_t *cycle)
{
    const duet_part *part = &player->song->parts[player->part];
    while (!before(player->at, player->drum_end)) {
        if (--player->parts == 0)
            return -1;
        player->part++;
        begin_part(player);
        part++;
    }
    *cycle = player->at;
    if (part->kind == DUET_REST) {
        player->at = player->drum_end;
    } else if (part->kind == DUET_FALLING) {
        player->drum_level ^= 1;
        player->at += player->length;
        player->length += part->change;
    } else {
        uint32_t carry = player->chance & 0x8000u ? NOISE_TAPS : 0;
        player->chance = (uint16_t)(((uint32_t)player->chance << 1 ^ carry) & 0xFFFFu);
        if (player->chance & player->song->noise_bit)
            player->drum_level ^= 1;
        player->at += part->setting;
    }
    return player->drum_level;
}

static void after_show(duet_player *player)
{
    const duet_song *song = player->song;
    const duet_event *event = event_of(player);
    if (event->drum) {
        const duet_drum *drum = &song->drums[event->drum - 1];
        player->part = drum->first_part;
        player->parts = drum->parts;
        player->drum_level = 0;
        player->state = DRUM;
        begin_part(player);
        return;
    }
    for (uint8_t pass = 0; pass < song->read_passes; pass++) {
        count(player, 0);
        count(player, 1);
    }
    begin_voices(player, song->read_passes);
}

/* The next write of the pin by a loop; -1: the piece has ended. */
static int loop_write(duet_player *player, uint32_t *cycle)
{
    for (;;) {
        int level;
        switch (player->state) {
        case SHOW:
            if (player->shown < player->shows)
                return show(player, cycle);
            after_show(player);
            break;
        case DRUM:
            level = drum_write(player, cycle);
            if (level >= 0)
                return level;
            begin_voices(player, player->song->drums[event_of(player)->drum - 1].passes);
            break;
        case FIRST:
            if (player->passes == 0) {
                next_event(player);
                break;
            }
            player->passes--;
            count(player, 0);
            *cycle = player->at;
            player->state = SECOND;
            return player->level[0];
        case SECOND:
            count(player, 1);
            *cycle = player->at + player->song->voice2_cycles;
            player->at += player->song->pass_cycles;
            player->state = FIRST;
            return player->level[1];
        case LAST_SHOW:
            if (player->shown < player->shows)
                return show(player, cycle);
            player->state = LOW;
            break;
        case LOW:
            *cycle = player->start + player->song->end_cycles;
            player->state = ENDED;
            return 0;
        default:
            return -1;
        }
    }
}

/* ---- the timer: level[0] is its output, level[1] whether it is heard, at its next flip, length its
 * count, left[0] where the tick under way ends, left[1] the ticks left of a drum's part */

static void begin_timer_part(duet_player *player)
{
    const duet_part *part = &player->song->parts[player->part];
    player->left[1] = part->cycles / player->song->pass_cycles;
    player->value = part->setting;
    player->chance = TIMER_SEED;
}

static void begin_step(duet_player *player)
{
    const duet_song *song = player->song;
    const duet_event *event = event_of(player);
    player->passes = song->step_passes;
    player->turn = 0;
    player->parts = 0;
    if (event->drum && player->steps == event->steps) {
        const duet_drum *drum = &song->drums[event->drum - 1];
        player->part = drum->first_part;
        player->parts = drum->parts;
        if (player->parts)
            begin_timer_part(player);
    }
    player->steps--;
}

/* What a drum gives the timer for a tick. */
static uint32_t drum_divisor(duet_player *player)
{
    const duet_part *part = &player->song->parts[player->part];
    uint32_t divisor = player->value;
    if (part->kind == DUET_NOISE) {
        uint32_t carry = player->chance & 1u ? TIMER_TAPS : 0;
        player->chance = (uint16_t)((uint32_t)player->chance >> 1 ^ carry);
        divisor += player->chance & part->change;
    } else if (part->kind == DUET_FALLING) {
        player->value += part->change;
        if (player->value > 0xFFFFu)
            player->value = 0xFFFFu;
    }
    if (--player->left[1] == 0 && --player->parts != 0) {
        player->part++;
        begin_timer_part(player);
    }
    return divisor;
}

static uint32_t divisor_of(duet_player *player)
{
    uint32_t first, second;
    if (player->parts)
        return drum_divisor(player);
    first = setting_of(player, 0);
    second = setting_of(player, 1);
    if (first && second) {
        uint32_t ticks = player->song->voice2_cycles;
        uint32_t turn = player->turn;
        player->turn = (uint16_t)((turn + 1) % (2 * ticks));
        return turn < ticks ? first : second;
    }
    return first ? first : second;
}

static void flip(duet_player *player)
{
    player->level[0] ^= 1;
    player->at += (player->length + player->level[0]) / 2;
}

/* The next write of the pin by a timer; -1: the piece has ended. */
static int timer_write(duet_player *player, uint32_t *cycle)
{
    for (;;) {
        uint32_t divisor;
        switch (player->state) {
        case TICK:
            if (player->passes == 0) {
                if (player->steps == 0) {
                    next_event(player);
                    break;
                }
                begin_step(player);
            }
            player->passes--;
            divisor = divisor_of(player);
            if (divisor)
                player->length = divisor;
            player->level[1] = divisor != 0;
            *cycle = player->left[0];
            player->left[0] += player->song->pass_cycles;
            player->state = FLIPS;
            return player->level[0] & player->level[1];
        case FLIPS:
            if (before(player->at, player->left[0])) {
                *cycle = player->at;
                flip(player);
                return player->level[0] & player->level[1];
            }
            if (player->at == player->left[0])
                flip(player);
            player->state = TICK;
            break;
        case FADE: /* a pulse that has begun sounds out */
            *cycle = player->level[0] ? player->at : player->left[0];
            player->state = ENDED;
            return 0;
        default:
            return -1;
        }
    }
}

/* ---- what a program calls */

void duet_start(duet_player *player, const duet_song *song)
{
    int timer = song->method == DUET_TIMER;
    player->song = song;
    player->step = player->event = player->start = 0;
    player->phase[0] = player->phase[1] = 0;
    player->left[0] = player->left[1] = timer ? 0 : 1;
    player->length = song->first_divisor;
    player->at = (player->length + 1) / 2;
    player->level[0] = timer ? 1 : 0;
    player->level[1] = player->pin = 0;
    begin_event(player);
}

int duet_edge(duet_player *player, uint32_t *cycle)
{
    int level;
    do {
        if (player->song->method == DUET_TIMER)
            level = timer_write(player, cycle);
        else
            level = loop_write(player, cycle);
    } while (level == player->pin);
    if (level >= 0)
        player->pin = (uint8_t)level;
    return level;
}

int duet_play(duet_player *player, const duet_host *host)
{
    uint32_t cycle;
    int level;
    while ((level = duet_edge(player, &cycle)) >= 0) {
        if (host->clock(host->context, cycle)) {
            host->pin(host->context, 0);
            return 0;
        }
        host->pin(host->context, level);
    }
    return 1;
}
