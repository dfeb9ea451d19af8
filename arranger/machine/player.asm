; Registers while the voices sound, voice 1 in the main set and voice 2 in the other one:
;   HL, DE  what the voice counts with        C   the byte it shows at the port
;   B       rounds of the loop                B'  chunks left of the event
;   SP      where phrases go back to
;
; From one write of the port to the next it takes 59 cycles: 30 in which a voice counts, 11 to write, and
; 18 in between. "= 18" marks the end of such a stretch. EXX may stand before or after the write that it
; precedes; it belongs to the stretch it stands in.
;
; A chunk is rounds + 3 passes; an event lasts a whole number of chunks. In each chunk the keys are read
; twice, in the passes in which voice 1 doesn't flip: of two in a row it flips in one at most.
; While an event is read the voices don't count, for 8 passes whatever there is to read: each branch takes as
; long as the other one. The pin shows their levels in turn (A' has voice 1's), and then each counts 8
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

@if start
        jp      start           ; 10  play the piece
@end
@if step
        jp      step            ; 10  play one step
@end
@if stop
        jp      stop            ; 10  silence; the next step is the first
@end
border: defb    idle            ; the other bits of the port: border colour, tape output

; ---- reading an event, in 18 + 8 * 118 cycles from the write of voice 2, 14 of them past, to where the
; loop begins

event:  exx                     ; 4
        ld      (count1),hl     ; 16
        ld      a,c             ; 4
        ex      af,af'          ; 4
        ld      a,c             ; 4
        nop                     ; 4
        out     (port),a        ; 11  voice 1
        pop     hl              ; 10
        jp      event1          ; 10  a pause
event1: ld      a,0             ; 7
        jp      event2          ; 10
event2:
        ld      a,(hl)          ; 7
        cp      2               ; 7
        jr      nc,goes         ; 7   or 12
        or      a               ; 4
        jp      nz,round        ; 10
        pop     hl              ; 10
        jp      next            ; 10  55 either way
round:  ld      hl,again        ; 10
        jp      next            ; 10
goes:   ld      a,0             ; 7
        jr      goes1           ; 12
goes1:  jp      next            ; 10

; An event without chunks: the piece ends, or one step is to be played.

ended:
@if step
        ld      a,b             ; 4
        sub     chunks          ; 7
        jr      nc,single       ; 7   or 12
@else
        push    hl              ; 11  a pause, for what is left out here and in stop
        jr      ended1          ; 12
ended1: jr      ended2          ; 12
ended2:
@end
        ld      a,2             ; 7
        jp      leave           ; 10
@if step
single: ld      (left),a        ; 13
        push    hl              ; 11
        ld      hl,paused       ; 10
        ld      (over+1),hl     ; 16
        pop     hl              ; 10
        ld      a,chunks        ; 7
        jp      begun           ; 10
@end

; What waits as long as something else takes.

plain:  push    hl              ; 11
        pop     hl              ; 10
        push    hl              ; 11
        pop     hl              ; 10
        jr      plain1          ; 12
plain1: jr      plain2          ; 12
plain2: jp      kind            ; 10
keeps1: call    wait            ; 17
        jp      other           ; 10
keeps2: call    wait            ; 17
        nop                     ; 4
        nop                     ; 4
        jp      told            ; 10
wait:   push    hl              ; 11
        pop     hl              ; 10
        jr      wait1           ; 12
wait1:  ret                     ; 10  60 with the call
        @shared

next:   exx                     ; 4
        ld      a,c             ; 4
        out     (port),a        ; 11  voice 2
        exx                     ; 4
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        ld      bc,phrases-4    ; 10
        cp      kinds           ; 7
        jr      nc,plain        ; 7   or 12
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
        inc     hl              ; 6   141 either way
kind:   push    hl              ; 11
        ld      l,a             ; 4
        nop                     ; 4
        ex      af,af'          ; 4
        out     (port),a        ; 11  voice 1
        ex      af,af'          ; 4
        ld      h,0             ; 7
        add     hl,hl           ; 11
        add     hl,bc           ; 11
        ld      c,(hl)          ; 7
        inc     hl              ; 6
        ld      b,(hl)          ; 7
        pop     hl              ; 10
        ld      a,b             ; 4
judge:  or      a               ; 4
        jr      z,ended         ; 7
begun:  exx                     ; 4
        ld      b,a             ; 4
        ld      a,c             ; 4
        out     (port),a        ; 11  voice 2
        exx                     ; 4   139
        bit     7,c             ; 8
        jr      z,keeps1        ; 7   or 12
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        ex      de,hl           ; 4
        ld      hl,tones        ; 10
        add     a,l             ; 4
        ld      l,a             ; 4
        adc     a,h             ; 4
        sub     l               ; 4
        ld      h,a             ; 4
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        ld      h,(hl)          ; 7
        ld      l,a             ; 4
        ex      de,hl           ; 4   90 either way
other:  nop                     ; 4
        ex      af,af'          ; 4
        out     (port),a        ; 11  voice 1
        ex      af,af'          ; 4
        bit     6,c             ; 8
        jr      z,keeps2        ; 7   or 12
        ld      a,(hl)          ; 7
        inc     hl              ; 6
        exx                     ; 4
        ex      de,hl           ; 4
        ld      hl,tones        ; 10
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
        exx                     ; 4   121 either way
told:   push    hl              ; 11
@if drums
        ld      a,c             ; 4
        and     63              ; 7
        jp      nz,drum         ; 10
@else
        pop     hl              ; 10  a pause: there are no drums
        push    hl              ; 11
@end
        exx                     ; 4
        ld      a,c             ; 4
        out     (port),a        ; 11  voice 2
        @catch
        ex      af,af'          ; 4
        out     (port),a        ; 11  voice 1
        exx                     ; 4
        ld      c,a             ; 4
        ld      a,0             ; 7   a pause
        ld      hl,(count1)     ; 16
        @catch
        ld      b,rounds-8      ; 7

; ---- the sound loop: both voices in turn

loop:
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        ld      a,0             ; 7
        ld      a,0             ; 7   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        dec     b               ; 4
        jp      nz,loop         ; 10  = 18
looped:

; ---- the end of a chunk

        @voice 1
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
        exx                     ; 4
        jp      chunk2          ; 10
        @stubs
chunk2:
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
        jp      chunk3          ; 10
chunk3:
@end
        exx                     ; 4   = 18
        @voice 2
        out     (port),a        ; 11
        dec     b               ; 4
over:   jp      z,event         ; 10  at the end of a single step: paused
        exx                     ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        ld      b,rounds-1      ; 7
        exx                     ; 4
        ld      a,0             ; 7   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        nop                     ; 4
        jp      loop            ; 10  = 18
        @stubs

@if drums
; ---- a drum: its first flip comes 9 passes after the event begins

drum:   ld      (tone1),de      ; 20
        push    hl              ; 11  a pause
        pop     hl              ; 10
        push    hl              ; 11
        pop     hl              ; 10
        inc     de              ; 6
        jr      drum1           ; 12
drum1:  ld      l,a             ; 4
        ld      h,0             ; 7
        add     hl,hl           ; 11
        add     hl,hl           ; 11
        add     hl,hl           ; 11
        ld      de,drums-8      ; 10
        add     hl,de           ; 11
        ld      (stacked),sp    ; 20
        ld      sp,hl           ; 6
        exx                     ; 4
        ld      (count2),hl     ; 16
        ld      (tone2),de      ; 20
        ex      af,af'          ; 4
        ld      (level1),a      ; 13
        ld      a,c             ; 4
        ld      (level2),a      ; 13
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        jr      part            ; 12

; The pin flips every H passes of 118 cycles, and H grows by L each time. Noise flips it only where the
; next bit of a shift register is 1: HL' shifts left, what falls out comes back through the taps E'. For
; a falling tone the register holds ones only; the mask D' of silence lets no flip through. The words of
; a part: taps and mask, L and H, passes to sound plus one, and the chunks that are over at its end with
; the rounds of the loop that are left of the next one (0 rounds: another part follows).

part:   pop     de              ; 10
        ld      hl,65535        ; 10
        exx                     ; 4
        pop     hl              ; 10
        pop     de              ; 10
        ld      b,1             ; 7
        ld      a,0             ; 7
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
        jr      nz,key          ; 7   or 12
        jr      hold1           ; 12
hold1:  jr      hold2           ; 12
hold2:  jr      hold3           ; 12
hold3:  jr      drumming        ; 12  = 118
@else
hold:   ld      a,3             ; 7   37 cycles until here
hold1:  dec     a               ; 4
        jr      nz,hold1        ; 7   or 12; 50 in all
        ld      a,0             ; 7
        jr      hold2           ; 12
hold2:  jr      drumming        ; 12  = 118
@end
@end
@if keys
key:    ld      a,1             ; 7
        jp      leave           ; 10
@end
@if drums
beaten: pop     bc              ; 10  26 cycles until here
        ld      a,b             ; 4
        or      a               ; 4
        exx                     ; 4
        jr      z,part          ; 7   or 12; 118 until the next part drums
        ld      a,b             ; 4
        exx                     ; 4
        sub     c               ; 4
        exx                     ; 4
        ld      b,a             ; 4
@end

; The voices go on with what they were left with, for B rounds of the loop; B' has the chunks.

back:   ld      sp,count2       ; 10
        ex      (sp),hl         ; 19  a pause
        ex      (sp),hl         ; 19
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        ld      a,(level2)      ; 13
        and     speaker         ; 7
        or      c               ; 4
        ld      c,a             ; 4
        pop     hl              ; 10
        pop     de              ; 10
        exx                     ; 4
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        ld      a,(level1)      ; 13
        and     speaker         ; 7
        or      c               ; 4
        ld      c,a             ; 4
        pop     hl              ; 10
        pop     de              ; 10
        ld      sp,(stacked)    ; 20
        jp      loop            ; 10

@if step
; ---- back to the caller. A step has been played. What the voices have counted to is kept.

paused: ld      a,c             ; 4
        ld      (count2),hl     ; 16
        ld      (tone2),de      ; 20
        ld      (level2),a      ; 13
        exx                     ; 4
        ld      (count1),hl     ; 16
        ld      (tone1),de      ; 20
        ld      a,c             ; 4
        ld      (level1),a      ; 13
        xor     a               ; 4
@end

; Back to the caller, with A: 0 a step was played, 1 a key was pressed, 2 the piece has ended.

leave:  ld      b,a             ; 4
        ld      (stacked),sp    ; 20
        ld      sp,(stack)      ; 20
        or      a               ; 4
        call    nz,stop         ; 10  or 17
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

; ---- calls. They use AF, BC, DE and HL; the other set comes back as it was, and so does the state of
; the interrupts, which are off meanwhile. IX and IY are left alone.

enter:  pop     hl              ; 10
        ld      a,i             ; 9   P/V: interrupts are on
        jp      pe,enter1       ; 10
        ld      a,i             ; 9   again: one that came just then would have hidden it
enter1: di                      ; 4
        push    af              ; 11
        exx                     ; 4
        push    bc              ; 11
        push    de              ; 11
        push    hl              ; 11
        exx                     ; 4
        ex      af,af'          ; 4
        push    af              ; 11
        ld      (stack),sp      ; 20
        jp      (hl)            ; 4

stop:
@if step
        xor     a               ; 4
        ld      (playing),a     ; 13
@end
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        out     (port),a        ; 11
        ret                     ; 10

@if start
start:  call    enter           ; 17
        call    begin           ; 17
@if keys
release: xor    a               ; 4   the key that gave the command must be up first
        in      a,(keys)        ; 11
        or      nokeys          ; 7
        inc     a               ; 4
        jr      nz,release      ; 7   or 12
@end
@if step
        ld      a,183           ; 7   or a: an event goes on to its end
        jr      play            ; 12
@else
        jr      play            ; 12
@end
@end

@if step
; One step of an event: for an event's first, reading is made to turn aside.

step:   call    enter           ; 17
        ld      a,(playing)     ; 13
        or      a               ; 4
        call    z,begin         ; 10  or 17
        ld      a,(left)        ; 13
        sub     chunks          ; 7
        jr      nc,again1       ; 7   or 12
        ld      a,175           ; 7   xor a
@end
play:
@if step
        ld      (judge),a       ; 13
        ld      hl,event        ; 10
        ld      (over+1),hl     ; 16
@end
        ld      b,1             ; 7   the tones before, for a chunk of one round; then the event
        exx                     ; 4
        ld      b,1             ; 7
        jp      back            ; 10
@if step
again1: ld      (left),a        ; 13
        ld      b,rounds        ; 7
        exx                     ; 4
        ld      b,chunks        ; 7
        jp      back            ; 10
@end

begin:  ld      hl,rest         ; 10
        ld      de,count2       ; 10
        ld      bc,14           ; 10
        ldir                    ; 21  or 16
        ld      hl,song         ; 10
        ld      (places-2),hl   ; 16
        ret                     ; 10

; ---- what the player remembers

rest:   defw    resting, silence, resting, silence
        defb    0, 0, 0, 1
        defw    places-2
stack:  defw    0
count2: defw    0
tone2:  defw    0
count1: defw    0
tone1:  defw    0
level1: defb    0
level2: defb    0
left:   defb    0
playing: defb   0
stacked: defw   0
