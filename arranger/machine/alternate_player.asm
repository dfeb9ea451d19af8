; Plays a piece for two voices on the speaker of a PC, in real mode, on any CPU from the 8086 on.
; The voices have channel 2 of the timer (8253 or 8254) in turn.
;
; To use: place the whole anywhere in one segment and call, with interrupts as you like:
;
;   near  far
;   +0    +9    start   plays the piece; comes back with AX = 2 at its end, 1 if a key waits
;   +3    +13   step    plays one step; comes back with AX = 0, 1 if a key waits, 2 after the last
;   +6    +17   stop    silence; the next step is the first
;
; Nothing is passed. AX is changed; all other registers, flags and segments are as before. No system
; is needed. A key is seen in the BIOS's buffer (40:1A, 40:1C) after each step and left there; step
; plays whether one waits or not. Call with CS as the segment that the whole lies in; DS may be any.
;
; A step comes back a tick (1 ms) before its end, and the speaker goes on meanwhile: a program has so
; long to itself between steps and changes no edge. Up to 50 ms are made up for by the steps after it.
; Between the first step and the last, or stop, channel 0 is in mode 2 with its usual count, so that
; time of day goes on; then it is in mode 3 again, as a BIOS sets it. Leave it alone meanwhile, and
; channel 2, and bits 0 and 1 of port 61h (the timer's gate and the speaker). No other bits of that
; port are changed. Afterwards the gate is as found, the speaker off, channel 2 in mode 3.
;
; When the timer flips is reckoned, so that a count is never written close to where a flip would miss
; it: edges are where they were computed, but for what the CPU takes to write. Interrupts are held off
; for 0.3 ms before a tick. Should a write still come too late (a slow CPU in a drum, a long interrupt), the
; timer is set anew at one of the tone's next rising edges, and all is where it should be again.
;
; A speaker driven this way can be loud: turn it down before you try, above all with headphones.

CHANNEL0        equ 40h
CHANNEL2        equ 42h
CONTROL         equ 43h
PORT_B          equ 61h                 ; bit 0: gate of channel 2, bit 1: speaker
MARGIN          equ 240                 ; clocks between a write and the flip it is meant for
EARLIEST        equ 4                   ; and at least from the flip before it
FIRST_TICK      equ 600                 ; clocks before the first
ROOM            equ 320                 ; clocks from setting it anew to a tick
HELD            equ 360                 ; clocks before a tick in which interrupts are off

; What BX points to: the player's own notes, then what the piece says.
PLAYING         equ 0                   ; byte: 0: the next step is the first
SAVED           equ 1                   ; byte: port 61h as found
DRUM_KIND       equ 2                   ; byte, of the part of a drum under way: bit 0: noise, else
                                        ; a falling tone; bit 1: another part follows
LOST            equ 3                   ; byte: 1: LEVEL and FLIP may be wrong, 2: nothing began yet
LEVEL           equ 4                   ; the timer's output: 1 high, 0 low
SPEAKS          equ 6                   ; byte: 2 while the timer is heard, else 0
LAST            equ 8                   ; channel 0 when the tick before was due
NOW             equ 10                  ; the count that channel 2 has
VOICE1          equ 12                  ; the step's divisors, 0: silent
VOICE2          equ 14
DRUM_LEFT       equ 16                  ; ticks of the part to come
DRUM_VALUE      equ 18                  ; a kick's divisor, or the smallest of a noise
DRUM_CHANGE     equ 20                  ; growth a tick, or what chance may add
CHANCE          equ 22                  ; shift register
TURN_LEFT       equ 24                  ; ticks of this turn to come
DRUM_NEXT       equ 26                  ; where the part after it is
FLAGS           equ 28                  ; with interrupts as the caller has them
FLIP            equ 30                  ; clocks from the coming tick to the timer's next flip
HALF            equ 32                  ; clocks of the half cycle that ends with it
PLACE           equ 34                  ; where the next step is
LEFT            equ 36                  ; steps to come before the end, or before it goes round
LATER           equ 38                  ; clocks by which the timer's flips come later than reckoned
LEAD            equ 40                  ; clocks that it takes to set channel 2
TICK            equ 42                  ; timer clocks a tick
TURN            equ 44                  ; ticks a turn
STEP_TICKS      equ 46                  ; ticks a step
FIRST           equ 48                  ; the count to start channel 2 with
STEPS           equ 50                  ; steps to play
AGAIN           equ 52                  ; steps to play when it goes round, 0: it ends
AGAIN_AT        equ 54                  ; where those begin, from BX
PITCHES         equ 56                  ; where the divisors are, from BX
DRUMS           equ 58                  ; where the parts of drums are, from BX
FIRST_STEP      equ 60                  ; where the steps are, from BX

player: jmp     near start
        jmp     near step
        jmp     near stop
        call    start
        retf
        call    step
        retf
        call    stop
        retf

start:  mov     ax, play - enter.here
        jmp     short enter
step:   mov     ax, one - enter.here
        jmp     short enter
stop:   mov     ax, quit - enter.here
enter:  pushf
        push    bx
        push    cx
        push    dx
        push    si
        push    di
        push    bp
        push    ds
        push    es
        cld
        push    cs
        pop     ds
        call    .here
.here:  pop     bx
        add     ax, bx                  ; wherever it lies
        add     bx, song - .here
        pushf
        pop     word [bx+FLAGS]
        call    ax
        pop     es
        pop     ds
        pop     bp
        pop     di
        pop     si
        pop     dx
        pop     cx
        pop     bx
        popf
        ret

play:   call    quit
.on:    call    one
        dec     ax
        js      .on
        jnz     .ended
        call    quit
        inc     ax
        ret
.ended: inc     ax
        ret

quit:   cmp     byte [bx+PLAYING], 0
        je      .done
        mov     byte [bx+PLAYING], 0
        mov     si, [bx+TICK]           ; the last tick sounds out ...
        call    wait_until
        cmp     byte [bx+SPEAKS], 0
        je      .low
        cmp     byte [bx+LEVEL], 0
        je      .low
        add     si, [bx+FLIP]           ; ... and a pulse that has begun
        call    wait_until
.low:   in      al, PORT_B
        and     al, 0FCh
        mov     ah, [bx+SAVED]
        and     ah, 1
        or      al, ah
        out     PORT_B, al
        mov     al, 36h                 ; channel 0: mode 3 again
        call    set_channel0
.done:  xor     ax, ax
        ret

; Make ready for the first step.
begin:  inc     byte [bx+PLAYING]
        in      al, PORT_B
        mov     [bx+SAVED], al
        and     al, 0FCh
        or      al, 1                   ; the channel counts, the speaker is off
        out     PORT_B, al
        mov     ax, [bx+STEPS]
        mov     [bx+LEFT], ax
        mov     ax, [bx+FIRST_STEP]
        add     ax, bx
        mov     [bx+PLACE], ax
        mov     ax, [bx+FIRST]
        mov     [bx+NOW], ax
        inc     ax
        shr     ax, 1
        mov     [bx+FLIP], ax
        mov     [bx+HALF], ax
        mov     word [bx+LEVEL], 1
        mov     byte [bx+SPEAKS], 0
        mov     byte [bx+LOST], 2
        mov     word [bx+LAST], 0
        cli
        mov     al, 34h                 ; channel 0: low byte, high byte, mode 2, binary
        call    set_channel0
        call    set_channel2
        call    clock
        mov     [bx+LEAD], ax
        neg     ax                      ; the first tick is due soon
        add     ax, [bx+TICK]
        sub     ax, FIRST_TICK
        mov     [bx+LAST], ax
        ret

; Control word AL, then 65536 clocks, as the BIOS has it.
set_channel0:
        out     CONTROL, al
        xor     al, al
        out     CHANNEL0, al
        out     CHANNEL0, al
        ret

; Let channel 2 begin with the high half of a cycle, at once.
set_channel2:
        mov     al, 0B6h                ; low byte, high byte, mode 3, binary
        out     CONTROL, al
        mov     ax, [bx+NOW]
        out     CHANNEL2, al
        mov     al, ah
        out     CHANNEL2, al
        ret

; Note that the timer was set AX clocks later than reckoned, but for a quarter of LEAD: the clock was
; read so long after that.
later:  mov     byte [bx+LOST], 0
        mov     dx, [bx+LEAD]
        shr     dx, 1
        shr     dx, 1
        sub     ax, dx
        mov     [bx+LATER], ax
        ret

one:    cmp     byte [bx+PLAYING], 0
        jne     .begun
        call    begin
.begun: mov     si, [bx+PLACE]
        call    take_pitch
        mov     [bx+VOICE1], ax
        call    take_pitch
        mov     [bx+VOICE2], ax
        call    take_drum
        mov     [bx+PLACE], si
        mov     cx, [bx+STEP_TICKS]
        mov     ax, [bx+TURN]
        mov     [bx+TURN_LEFT], ax
        xor     bp, bp                  ; whose turn: 0 voice 1, 1 voice 2
.tick:  call    choose                  ; AX: the divisor of this tick, 0: silent
        mov     di, ax
        call    sound
        call    flips
        dec     word [bx+TURN_LEFT]
        jnz     .same
        mov     ax, [bx+TURN]
        mov     [bx+TURN_LEFT], ax
        xor     bp, 1
.same:  loop    .tick

        dec     word [bx+LEFT]
        jnz     .keys
        mov     si, [bx+AGAIN_AT]
        add     si, bx
        mov     [bx+PLACE], si
        mov     ax, [bx+AGAIN]
        mov     [bx+LEFT], ax
        or      ax, ax
        jnz     .keys
        call    quit
        inc     ax
        inc     ax
        ret
.keys:  mov     ax, 40h
        mov     es, ax
        mov     ax, [es:1Ah]            ; the keyboard buffer's head ...
        sub     ax, [es:1Ch]            ; ... and tail: equal when no key waits
        neg     ax
        sbb     ax, ax
        neg     ax
        ret

; AX = the divisor that the next byte of the step names; 0: silent.
take_pitch:
        lodsb
        xor     ah, ah
        shl     ax, 1
        mov     di, ax
        add     di, [bx+PITCHES]
        mov     ax, [bx+di]
        ret

; Begin the drum whose first part the next byte of the step names; 0: none.
take_drum:
        lodsb
        xor     ah, ah
        or      al, al
        jz      take_part.none
        mov     dl, 7                   ; bytes of a part: kind, ticks, value, change
        dec     al
        mul     dl
        mov     di, ax
        add     di, [bx+DRUMS]
        add     di, bx
; Begin the part of a drum at DI.
take_part:
        mov     al, [di]
        mov     [bx+DRUM_KIND], al
        mov     ax, [di+3]
        mov     [bx+DRUM_VALUE], ax
        mov     ax, [di+5]
        mov     [bx+DRUM_CHANGE], ax
        mov     word [bx+CHANCE], 0ACE1h
        mov     ax, [di+1]
        add     di, 7
        mov     [bx+DRUM_NEXT], di
.none:  mov     [bx+DRUM_LEFT], ax
        ret

; AX = the divisor of the coming tick: the drum's, or that of the voice whose turn it is.
choose: cmp     word [bx+DRUM_LEFT], 0
        jne     .drum
        test    byte [bx+DRUM_KIND], 2
        jz      .tone
        mov     di, [bx+DRUM_NEXT]
        call    take_part
.drum:  inc     word [bx+TURN_LEFT]     ; the turns begin after it
        dec     word [bx+DRUM_LEFT]
        mov     ax, [bx+DRUM_VALUE]
        test    byte [bx+DRUM_KIND], 1
        jnz     .noise
        mov     dx, ax
        add     dx, [bx+DRUM_CHANGE]
        jnc     .grown
        mov     dx, 0FFFFh
.grown: mov     [bx+DRUM_VALUE], dx
        ret
.noise: mov     dx, [bx+CHANCE]         ; x^16 + x^14 + x^13 + x^11 + 1
        shr     dx, 1
        jnc     .even
        xor     dx, 0B400h
.even:  mov     [bx+CHANCE], dx
        and     dx, [bx+DRUM_CHANGE]
        add     ax, dx
        ret
.tone:  mov     ax, [bx+VOICE1]
        mov     dx, [bx+VOICE2]
        or      ax, ax
        jz      .second
        or      dx, dx
        jz      .first
        or      bp, bp
        jz      .first
.second:
        mov     ax, dx
.first: ret

; Wait until the tick is due, and give channel 2 the divisor DI; 0: silence. A count is written before
; the tick if the flip after the tick, which is the first to take it, is close.
sound:  mov     si, [bx+TICK]
        or      di, di
        jz      .due
        cmp     di, [bx+NOW]
        je      .due
        mov     dx, [bx+FLIP]
        add     dx, [bx+LATER]          ; until the flip that takes it
        mov     ax, [bx+HALF]
        sub     ax, EARLIEST
        sub     ax, dx                  ; since the one before, which must not
        jl      .wait
        add     ax, dx
        cmp     ax, MARGIN
        jbe     .margin
        mov     ax, MARGIN
.margin:
        sub     ax, dx
        jle     .count
.wait:  sub     si, ax
.count: call    wait_until
        mov     ax, di
        out     CHANNEL2, al
        mov     al, ah
        out     CHANNEL2, al
        mov     [bx+NOW], di
        mov     si, [bx+TICK]
        call    clock
        sub     ax, si
        jb      .due
        js      .lost
        sub     ax, [bx+LATER]
        cmp     ax, [bx+FLIP]
        jl      .due
.lost:  mov     byte [bx+LOST], 1       ; the flip may have come first
.due:   call    wait_until
        sub     [bx+LAST], si           ; ticks never drift
        cmp     byte [bx+LOST], 2
        jne     .counts
        call    set_channel2            ; time begins
        call    clock
        sub     [bx+LAST], ax
        xor     ax, ax
        call    later
.counts:
        mov     ax, di
        neg     ax
        sbb     ax, ax
        and     al, 2
        cmp     al, [bx+SPEAKS]
        je      .done
        mov     [bx+SPEAKS], al
        in      al, PORT_B
        and     al, 0FDh                ; the gate stays open: the timer counts on
        or      al, [bx+SPEAKS]
        out     PORT_B, al
.done:  ret

; Reckon the timer's flips up to the next tick. Where they may be wrong, set it anew with a rising one.
flips:  cmp     byte [bx+LOST], 1
        jne     .reckon
        cmp     word [bx+DRUM_LEFT], 0
        jne     .reckon
        mov     si, [bx+FLIP]
        cmp     byte [bx+LEVEL], 0
        je      .rises
        mov     ax, [bx+NOW]
        shr     ax, 1
        add     si, ax
.rises: sub     si, [bx+LEAD]
        jb      .next
        call    clock
        cmp     si, ax
        jae     .time
.next:  add     si, [bx+NOW]
.time:  mov     ax, [bx+TICK]
        sub     ax, si
        jb      .reckon
        cmp     ax, ROOM                ; time enough before the next tick
        jb      .reckon
        call    wait_until
        cmp     ax, ROOM / 2            ; and not by an interrupt too late
        jae     .reckon
        call    set_channel2
        call    clock
        sub     ax, si
        sub     ax, [bx+LEAD]
        call    later
.reckon:
        mov     ax, [bx+TICK]
        sub     ax, [bx+FLIP]
        jae     .flip
        neg     ax
        mov     [bx+FLIP], ax
        ret
.flip:  xor     dx, dx
        div     word [bx+NOW]           ; DX: clocks since a flip like the first
        xor     byte [bx+LEVEL], 1
        mov     ax, [bx+NOW]
        add     ax, [bx+LEVEL]          ; the high half of an odd count is the longer one
        rcr     ax, 1
        cmp     dx, ax
        jb      .half
        xor     byte [bx+LEVEL], 1
        sub     dx, ax
        sub     ax, [bx+NOW]
        neg     ax
.half:  mov     [bx+HALF], ax
        sub     ax, dx
        mov     [bx+FLIP], ax
        ret

; Wait until SI clocks after the tick before. AX = by how many clocks it is later; interrupts are off.
wait_until:
        cli
        xor     al, al                  ; latch channel 0, as in clock
        out     CONTROL, al
        in      al, CHANNEL0
        mov     dl, al
        in      al, CHANNEL0
        mov     dh, al
        mov     ax, [bx+LAST]
        sub     ax, dx
        sub     ax, si
        jae     .due
        cmp     ax, -HELD
        jae     wait_until
        push    word [bx+FLAGS]
        popf
        jmp     wait_until
.due:   ret

; AX = clocks since the tick before; interrupts are off.
clock:  cli
        xor     al, al                  ; latch channel 0
        out     CONTROL, al
        in      al, CHANNEL0
        mov     dl, al
        in      al, CHANNEL0
        mov     dh, al
        mov     ax, [bx+LAST]
        sub     ax, dx                  ; it counts down
        ret

song:
