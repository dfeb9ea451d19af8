; Registers while the voices sound, voice 1 in the main set and voice 2 in the other one:
;   HL, DE  what the voice counts with        C   the byte it shows at the port
;   B       rounds of the loop                B'  chunks left of the event
;   SP      where the song goes on, and where phrases go back to
;
; From one write of the port to the next it takes 59 cycles: 30 in which a voice counts, 11 to write, and
; 18 in between. "= 18" marks the end of such a stretch. EXX may stand before or after the write that it
; precedes; it belongs to the stretch it stands in.
;
; A chunk is rounds + 2 passes; an event lasts a whole number of chunks. In each chunk the keys are read
; twice, in the passes in which voice 1 doesn't flip: of two in a row it flips in one at most.
; While an event is read the voices don't count, for 9 passes whatever there is to read: each branch takes as
; long as the other one. The pin shows their levels in turn (A' has voice 1's), and then each counts 9
; passes at once.
;
; The song is bytes:
;   0              the phrase ends: it goes on where it was begun
;   1              it goes on where the loop begins
;   2 to kinds-1   a phrase: phrases has its address, then what follows goes on
;   from kinds     an event, of a kind; then a byte for each voice that changes: twice its tone's number
; A kind is a word: bit 7 voice 1 changes, bit 6 voice 2 changes, bits 0 to 5 the drum that comes first
; (how many parts of drums lie before it, from 1; 0: none); above them the chunks (0: the piece ends).
; Between two events at most one phrase ends, or the loop goes round, and then at most one begins.

; ---- calls. They use AF, BC, DE and HL; the other set comes back as it was, and so does the state of
; the interrupts. IX and IY are left alone.

@if start
start:
@if turns
        ld      a,6             ; 7   of the instruction LD B: an event goes on to its end
@end
@if calls
        call    enter           ; 17
@else
        @enter
@end
@if keys
release: xor    a               ; 4   the key that gave the command must be up first
        in      a,(keys)        ; 11
        or      nokeys          ; 7
        inc     a               ; 4
        jr      nz,release      ; 7   or 12
@end
@if calls
        jr      begin           ; 12
@end
@end

@if open
; One step, and interrupts stay on if they are.

open:
@if turns
        ld      a,24            ; 7
@end
        call    enter           ; 17
        ex      af,af'          ; 4
        jp      po,again1       ; 10
        ei                      ; 4
        jr      again1          ; 12
@end
@if step
; One step of an event: for an event's first, reading is made to turn aside.

step:
@if turns
        ld      a,24            ; 7   of the instruction JR
@end
        call    enter           ; 17
again1: ld      hl,(stacked)    ; 16
        ld      a,h             ; 4
        or      a               ; 4
        jr      z,begin         ; 7   or 12
        ld      sp,hl           ; 6
        jp      held            ; 10
@end

begin:  ld      sp,places       ; 10
w1:     ld      hl,song         ; 10
        push    hl              ; 11
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        exx                     ; 4
        ld      c,a             ; 4
        ld      hl,resting      ; 10
        exx                     ; 4
        ld      c,a             ; 4
        ld      hl,resting      ; 10
fresh:  exx                     ; 4
        jp      event1          ; 10

@if calls
enter:  pop     hl              ; 10
@if turns
        ld      (event),a       ; 13
        ld      (mode),a        ; 13
@end
        @enter
        jp      (hl)            ; 4
@end

@if effects
; A drum sound by itself, that of a number, between two steps.

effect: ld      c,a             ; 4
        call    enter           ; 17
        ld      hl,effect1      ; 10
        push    hl              ; 11
        push    hl              ; 11
        push    hl              ; 11
        ld      l,c             ; 4
        ld      h,0             ; 7
        add     hl,hl           ; 11
        add     hl,hl           ; 11
        add     hl,hl           ; 11
        ld      de,effects      ; 10
        add     hl,de           ; 11
        jp      drum1           ; 10
effect1: ld     a,(border)      ; 13
        and     255-speaker     ; 7
        out     (port),a        ; 11
        ld      b,0             ; 7
        jp      leave2          ; 10
@end

@if choose
; The song of a number is the next one: what is its own is put into the instructions that need it.

choose: ld      l,a             ; 4
        ld      h,0             ; 7
        add     hl,hl           ; 11
        ld      de,(list)       ; 20
        add     hl,de           ; 11
        ld      e,(hl)          ; 7
        inc     hl              ; 6
        ld      d,(hl)          ; 7
        ld      hl,patches      ; 10
        ld      b,18            ; 7
choose1: ld     a,(de)          ; 7
        inc     de              ; 6
        ld      c,(hl)          ; 7
        inc     hl              ; 6
        push    hl              ; 11
        ld      h,(hl)          ; 7
        ld      l,c             ; 4
        ld      (hl),a          ; 7
        pop     hl              ; 10
        inc     hl              ; 6
        djnz    choose1         ; 8   or 13
@end
@if silence
stop:
@if step
        xor     a               ; 4
        ld      (stacked+1),a   ; 13
@end
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        out     (port),a        ; 11
        ret                     ; 10
@end

; ---- reading an event, in 9 * 118 cycles to where the loop begins; 14 have passed since voice 2 was
; written

@if step
paused: call    save            ; 17  a step has been played; here the next one goes on
        ld      a,(left)        ; 13
c1:     sub     chunks          ; 7
        jr      c,fresh         ; 7   or 12
        ld      (left),a        ; 13
        jp      loop            ; 10
save:   exx                     ; 4
r1:     ld      b,rounds        ; 7
        push    hl              ; 11
        push    de              ; 11
        push    bc              ; 11
        exx                     ; 4
c2:     ld      b,chunks        ; 7
        push    hl              ; 11
        push    de              ; 11
        push    bc              ; 11
        exx                     ; 4
        xor     a               ; 4
        jr      leave           ; 12
@end
@if keys
key:    ld      a,1             ; 7
        jr      leave           ; 12
@end
ended:  ld      a,2             ; 7

; Back to the caller, with A: 0 a step was played, 1 a key was pressed, 2 the piece has ended.

leave:  ld      b,a             ; 4
@if step
        ld      (stacked),sp    ; 20
        or      a               ; 4
        call    nz,stop         ; 10  or 17
@else
@if stop
        push    hl              ; 11  a pause, for what is left out
        pop     hl              ; 10
        call    stop            ; 17
@else
        ex      (sp),hl         ; 19  a pause, for what is left out
        ex      (sp),hl         ; 19
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        out     (port),a        ; 11
@end
@end
leave2: ld      sp,(stack)      ; 20
        pop     af              ; 10
        ex      af,af'          ; 4
        exx                     ; 4
        pop     hl              ; 10
        pop     de              ; 10
        pop     bc              ; 10
        exx                     ; 4
        pop     af              ; 10
        jp      po,leave1       ; 10
        ei                      ; 4
leave1: ld      a,b             ; 4
        ret                     ; 10

; What waits as long as something else takes.

goes:   push    hl              ; 11
        pop     hl              ; 10
        nop                     ; 4
        jp      next            ; 10
@if loop
round:
w2:     ld      hl,again        ; 10
        nop                     ; 4
        jp      next            ; 10
@end
plain:  call    wait            ; 17
        jp      kind            ; 10
@if step
single:
c3:     sub     chunks          ; 7   the first step of an event
        ld      (left),a        ; 13
c4:     ld      a,chunks        ; 7
        jp      begun           ; 10
@end

@if turns
event:  ld      b,paused-event1 ; 7   as JR: a step is over
@else
@if step
event:  jr      paused          ; 12
@else
event:  ld      b,0             ; 7   a pause
@end
@end
event1:
        exx                     ; 4
        ex      (sp),hl         ; 19
        ld      a,c             ; 4
        out     (port),a        ; 11  voice 1
        ex      af,af'          ; 4
        ld      a,(hl)          ; 7
        cp      2               ; 7
        jr      nc,goes         ; 7   or 12
@if loop
        or      a               ; 4
        jr      nz,round        ; 7   or 12
@else
        nop                     ; 4   a pause: it never goes round
        ld      a,0             ; 7
@end
        pop     hl              ; 10
        ex      (sp),hl         ; 19  61 each way
next:   exx                     ; 4
        ld      a,c             ; 4
        out     (port),a        ; 11  voice 2
        exx                     ; 4
        ld      a,(hl)          ; 7
        inc     hl              ; 6
w3:     ld      bc,phrases-4    ; 10
k1:     cp      kinds           ; 7
        jr      nc,plain        ; 7   or 12
        ex      (sp),hl         ; 19
        push    hl              ; 11
        ld      l,a             ; 4
        ld      h,0             ; 7
        add     hl,hl           ; 11
        add     hl,bc           ; 11
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        ld      h,(hl)          ; 7
        ld      l,a             ; 4
        ld      a,(hl)          ; 7
        inc     hl              ; 6   107 each way
kind:   push    hl              ; 11
        ld      l,a             ; 4
        ex      af,af'          ; 4
        out     (port),a        ; 11  voice 1
        ex      af,af'          ; 4
        ld      h,0             ; 7
        add     hl,hl           ; 11
        add     hl,bc           ; 11
        ld      c,(hl)          ; 7
        inc     hl              ; 6
        ld      a,(hl)          ; 7
        pop     hl              ; 10
        or      a               ; 4
        jr      z,ended         ; 7
@if turns
mode:   ld      b,single-begun  ; 7   as JR: one step of it is to be played
@else
@if step
        jr      single          ; 12
@else
        ld      b,0             ; 7   a pause
@end
@end
begun:  exx                     ; 4
        ld      b,a             ; 4
        ld      a,c             ; 4
        out     (port),a        ; 11  voice 2
        exx                     ; 4
        bit     7,c             ; 8
        jr      z,keeps1        ; 7   or 12
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        call    tone            ; 17
other:  ex      af,af'          ; 4
        out     (port),a        ; 11  voice 1
        ex      af,af'          ; 4
        bit     6,c             ; 8
        jr      z,keeps2        ; 7   or 12
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        exx                     ; 4
        call    tone            ; 17
        exx                     ; 4
told:   ex      (sp),hl         ; 19
@if drums
        ld      a,c             ; 4
        and     63              ; 7
        jp      nz,drum         ; 10
@else
        push    hl              ; 11  a pause: there are no drums
        pop     hl              ; 10
@end
        exx                     ; 4
        ld      a,c             ; 4
        out     (port),a        ; 11  voice 2
        call    catch           ; 17
        ex      af,af'          ; 4
        out     (port),a        ; 11  voice 1
        exx                     ; 4
        ld      c,a             ; 4
        call    catch           ; 17
r2:     ld      b,rounds-9      ; 7

; ---- the sound loop: both voices in turn

loop:
        @voice 1
        dec     b               ; 4
        out     (port),a        ; 11
        exx                     ; 4
        jp      z,chunk         ; 10
        @voice 2
        nop                     ; 4   = 18
        out     (port),a        ; 11
        exx                     ; 4
        jp      loop            ; 10  = 18 with what counts the rounds
looped:
        @stubs
keeps1: call    wait            ; 17
        jr      other           ; 12
keeps2: call    wait            ; 17
        nop                     ; 4
        nop                     ; 4
        jr      told            ; 12
wait:   ex      (sp),hl         ; 19
        ex      (sp),hl         ; 19
        inc     hl              ; 6
        dec     hl              ; 6
        nop                     ; 4
        nop                     ; 4
wait1:  ret                     ; 10  85 with the call

; ---- the end of a chunk

chunk:
        @voice 2
        exx                     ; 4   = 18
        out     (port),a        ; 11
        @key
        out     (port),a        ; 11
        exx                     ; 4
        jp      chunk1          ; 10
        @stubs
chunk1:
        @voice 2
        exx                     ; 4   = 18
        out     (port),a        ; 11
        @key
        out     (port),a        ; 11
@if keys
        inc     b               ; 4
        jp      nz,key          ; 10
@else
        nop                     ; 4
        jp      chunk2          ; 10
chunk2:
@end
        exx                     ; 4   = 18
        @voice 2
        out     (port),a        ; 11
        dec     b               ; 4
        jp      z,event         ; 10
        exx                     ; 4   = 18
        @voice 1
        out     (port),a        ; 11
r3:     ld      b,rounds-1      ; 7
        exx                     ; 4
        ld      a,0             ; 7   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        jp      loop            ; 10  = 18 with what counts the rounds
        @stubs

; DE becomes the tone whose number is in A.

tone:   ex      de,hl           ; 4
w4:     ld      hl,tones        ; 10
        add     a,l             ; 4
        ld      l,a             ; 4
        adc     a,h             ; 4
        sub     l               ; 4
        ld      h,a             ; 4
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        ld      h,(hl)          ; 7
        ld      l,a             ; 4
        ex      de,hl           ; 4
        ret                     ; 10  89 with the call

; A voice counts 9 passes at once.

catch:
        @catch

@if drums
; ---- a drum: its first flip comes 10 passes after the event begins. Its parts are 8 bytes each: the
; rounds of the loop that are left of the chunk in which it ends, and minus the chunks that are over then
; (0: it is the next part of a drum); taps, mask; growth, half period; passes to sound plus one.

drum:   ld      bc,loop         ; 10  where to go on
        push    bc              ; 11
        push    hl              ; 11
        push    de              ; 11
        ld      l,a             ; 4
        ld      h,0             ; 7
        add     hl,hl           ; 11
        add     hl,hl           ; 11
        add     hl,hl           ; 11
w5:     ld      de,drums-8      ; 10
        add     hl,de           ; 11
drum1:  ld      b,(hl)          ; 7
        inc     hl              ; 6
        ex      af,af'          ; 4
        ld      c,a             ; 4
        push    bc              ; 11
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        exx                     ; 4
        add     a,b             ; 4
        ld      b,a             ; 4
        push    hl              ; 11
        push    de              ; 11
        push    bc              ; 11
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        exx                     ; 4
        ld      a,0             ; 7   a pause
        jr      part            ; 12

; The pin flips every H passes of 118 cycles, and H grows by L each time. Noise flips it only where the
; next bit of a shift register is 1: HL' shifts left, what falls out comes back through the taps E'. For
; a falling tone the register holds ones only; the mask D' of silence lets no flip through.

part:   push    hl              ; 11
        exx                     ; 4
        pop     hl              ; 10
        ld      e,(hl)          ; 7
        inc     hl              ; 6
        ld      d,(hl)          ; 7
        ld      hl,65535        ; 10
        exx                     ; 4
        inc     hl              ; 6
        inc     hl              ; 6
        ld      c,(hl)          ; 7
        inc     hl              ; 6
        ld      b,(hl)          ; 7
        inc     hl              ; 6
        ld      e,(hl)          ; 7
        inc     hl              ; 6
        ld      d,(hl)          ; 7
        inc     hl              ; 6
        push    hl              ; 11
        ld      h,b             ; 4
        ld      l,c             ; 4
        ld      b,1             ; 7
        nop                     ; 4   a pause
        jr      drumming        ; 12
drumming:
        dec     de              ; 6
        ld      a,d             ; 4
        or      e               ; 4
        jr      z,beaten        ; 7   or 12
        dec     b               ; 4
        jr      nz,hold         ; 7   or 12
        ld      b,h             ; 4
        ld      a,h             ; 4
        add     a,l             ; 4
        ld      h,a             ; 4
        exx                     ; 4
        add     hl,hl           ; 11
        sbc     a,a             ; 4
        and     e               ; 4
        xor     l               ; 4
        ld      l,a             ; 4
        and     d               ; 4
        xor     c               ; 4
        ld      c,a             ; 4
        exx                     ; 4
        out     (port),a        ; 11  = 106
        jr      drumming        ; 12  = 118
@if keys
hold:   xor     a               ; 4   37 cycles until here
        in      a,(keys)        ; 11
        or      nokeys          ; 7
        inc     a               ; 4
        jp      nz,key          ; 10
        push    hl              ; 11
        pop     hl              ; 10
        jr      hold1           ; 12
hold1:  jr      drumming        ; 12  = 118
@else
hold:   ex      (sp),hl         ; 19  37 cycles until here
        ex      (sp),hl         ; 19
        push    hl              ; 11
        pop     hl              ; 10
        jp      hold1           ; 10
hold1:  jr      drumming        ; 12  = 118
@end
beaten: pop     hl              ; 10  26 cycles until here
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        inc     hl              ; 6
        or      a               ; 4
        jr      z,part          ; 7   or 12
        call    wait1           ; 17
        nop                     ; 4
        nop                     ; 4
@end
@if held
held:   exx                     ; 4   back to what the voices count with
        pop     bc              ; 10
        pop     de              ; 10
        pop     hl              ; 10
        exx                     ; 4
        pop     bc              ; 10
        pop     de              ; 10
        pop     hl              ; 10
        ret                     ; 10
@end

; ---- what the player remembers

border: defb    idle            ; the other bits of the port: border colour, tape output
stack:  defw    0
@if step
stacked: defw   0
left:   defb    0
@end
@if choose
unused: defb    0
list:   defw    songs           ; the addresses of what is each song's own
patches:
@if step
        defw    c1+1, c2+1, c3+1, c4+1, r1+1
@else
        defw    unused, unused, unused, unused, unused
@end
        defw    r2+1, r3+1, k1+1, w1+1, w1+2
@if loop
        defw    w2+1, w2+2
@else
        defw    unused, unused
@end
        defw    w3+1, w3+2, w4+1, w4+2
@if drums
        defw    w5+1, w5+2
@else
        defw    unused, unused
@end
@end
