; Plays a piece for two voices on the speaker of a PC, in real mode, on any CPU from the 8086 on.
; The voices have channel 2 of the timer (8253 or 8254) in turn.
;
; To use: place the whole anywhere in one segment and CALL its first byte (near), with interrupts as
; you like. It needs no loader and no system: saved as a .COM file it is a program too. It comes back
; when the piece has ended or a key is waiting, with every register and flag as before; the key is
; left for the caller.
;
; It changes bits 0 and 1 of port 61h (the timer's gate and the speaker) and no others. Channel 0
; is set to mode 2 with its usual count, so that time of day goes on, and is read to keep time; on
; return it is in mode 3 again, as a BIOS sets it. Channel 2 is left in mode 3.
;
; A speaker driven this way can be loud: turn it down before you try, above all with headphones.

        bits 16
        cpu 8086

CHANNEL0        equ 40h
CHANNEL2        equ 42h
CONTROL         equ 43h
PORT_B          equ 61h                 ; bit 0: gate of channel 2, bit 1: speaker

; What BX points to: the player's own notes, then what the piece says.
SAVED           equ 0                   ; byte: port 61h as found
DRUM_KIND       equ 1                   ; byte, of the part of a drum under way: bit 0: noise, else
                                        ; a falling tone; bit 1: another part follows
LAST            equ 2                   ; channel 0 when the latest tick was due
NOW             equ 4                   ; the count that channel 2 has
VOICE1          equ 6                   ; the step's divisors, 0: silent
VOICE2          equ 8
DRUM_LEFT       equ 10                  ; ticks of the part to come
DRUM_VALUE      equ 12                  ; a kick's divisor, or the smallest of a noise
DRUM_CHANGE     equ 14                  ; growth a tick, or what chance may add
CHANCE          equ 16                  ; shift register
TURN_LEFT       equ 18                  ; ticks of this turn to come
DRUM_NEXT       equ 20                  ; where the part after it is
TICK            equ 22                  ; timer clocks a tick
TURN            equ 24                  ; ticks a turn
STEP_TICKS      equ 26                  ; ticks a step
FIRST           equ 28                  ; the count to start channel 2 with
STEPS           equ 30                  ; steps to play
AGAIN           equ 32                  ; steps to play when it goes round, 0: it ends
AGAIN_AT        equ 34                  ; where those begin, from BX
PITCHES         equ 36                  ; where the divisors are, from BX
DRUMS           equ 38                  ; where the parts of drums are, from BX
FIRST_STEP      equ 40                  ; where the steps are, from BX

player: pushf
        push    ax
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
        add     bx, song - .here        ; wherever it lies
        mov     ax, 40h
        mov     es, ax                  ; the BIOS's variables, for the key

        in      al, PORT_B
        mov     [bx+SAVED], al
        and     al, 0FCh
        or      al, 1                   ; the channel counts, the speaker is off
        out     PORT_B, al
        mov     al, 0B6h                ; channel 2: low byte, high byte, mode 3, binary
        out     CONTROL, al
        mov     ax, [bx+FIRST]
        mov     [bx+NOW], ax
        out     CHANNEL2, al
        mov     al, ah
        out     CHANNEL2, al
        mov     al, 34h                 ; channel 0: low byte, high byte, mode 2, binary
        out     CONTROL, al
        xor     al, al                  ; 65536 clocks, as the BIOS has it
        out     CHANNEL0, al
        out     CHANNEL0, al
        mov     ax, [bx+TICK]
        mov     [bx+LAST], ax           ; the first tick is due at once

        mov     si, bx
        add     si, [bx+FIRST_STEP]
        mov     cx, [bx+STEPS]

step:   mov     ax, [es:1Ah]            ; the keyboard buffer's head ...
        cmp     ax, [es:1Ch]            ; ... and tail: equal when no key waits
        jne     finish
        call    take_pitch
        mov     [bx+VOICE1], ax
        call    take_pitch
        mov     [bx+VOICE2], ax
        call    take_drum
        push    cx
        mov     cx, [bx+STEP_TICKS]
        mov     ax, [bx+TURN]
        mov     [bx+TURN_LEFT], ax
        xor     bp, bp                  ; whose turn: 0 voice 1, 1 voice 2

tick:   call    choose                  ; AX: the divisor of this tick, 0: silent
        mov     di, ax
        call    wait_tick
        call    sound
        dec     word [bx+TURN_LEFT]
        jnz     .same
        mov     ax, [bx+TURN]
        mov     [bx+TURN_LEFT], ax
        xor     bp, 1
.same:  loop    tick

        pop     cx
        loop    step
        mov     cx, [bx+AGAIN]
        mov     si, bx
        add     si, [bx+AGAIN_AT]
        or      cx, cx
        jnz     step
        call    wait_tick               ; the last tick sounds out

finish: in      al, PORT_B
        and     al, 0FCh
        mov     ah, [bx+SAVED]
        and     ah, 3
        or      al, ah
        out     PORT_B, al
        mov     al, 36h                 ; channel 0: mode 3 again
        out     CONTROL, al
        xor     al, al
        out     CHANNEL0, al
        out     CHANNEL0, al
        pop     es
        pop     ds
        pop     bp
        pop     di
        pop     si
        pop     dx
        pop     cx
        pop     bx
        pop     ax
        popf
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

; Wait until the next tick is due. Ticks never drift: each is due a fixed time after the one before.
wait_tick:
        pushf
        cli
        xor     al, al                  ; latch channel 0
        out     CONTROL, al
        in      al, CHANNEL0
        mov     dl, al
        in      al, CHANNEL0
        mov     dh, al
        popf
        mov     ax, [bx+LAST]
        sub     ax, dx                  ; it counts down
        cmp     ax, [bx+TICK]
        jb      wait_tick
        mov     ax, [bx+TICK]
        sub     [bx+LAST], ax
        ret

; Give channel 2 the divisor DI; 0: silence.
sound:  or      di, di
        jz      .quiet
        cmp     di, [bx+NOW]
        je      .speak
        mov     [bx+NOW], di
        mov     ax, di
        out     CHANNEL2, al
        mov     al, ah
        out     CHANNEL2, al
.speak: in      al, PORT_B
        mov     ah, al
        or      al, 3
        jmp     .port
.quiet: in      al, PORT_B
        mov     ah, al
        and     al, 0FDh                ; the gate stays open: the timer counts on
.port:  cmp     al, ah
        je      .done
        out     PORT_B, al
.done:  ret

song:
