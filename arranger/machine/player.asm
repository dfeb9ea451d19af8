; Registers while the voices sound, voice 1 in the main set and voice 2 in the other one:
;   HL, DE  what the voice counts with        C   the byte it shows at the port
;   B       rounds of the loop                IX  the place in the order of phrases
;   SP      the place in the song             A', F'  chunks left of the event, its flags
;
; From one write of the port to the next it takes 59 cycles, always: 30 in which a voice counts, 11 to
; write, and 18 in between. Those 18 hold the loop's end, or a part of fetching the next event. So the
; tones never wait for the song. "= 18" marks the end of such a stretch. EXX may stand before or after
; the write that it precedes; it belongs to the stretch it stands in.
;
; A chunk is rounds + 3 passes; an event lasts a whole number of chunks. Its words:
;   flags and chunks            flags: C voice 1 changes, Z voice 2 changes, P/V last of its phrase,
;                               S a drum comes first, bits 3 to 5 its number (7: its address follows)
;   where the drum's words lie  if S and 7
;   what voice 1 counts with    if C
;   what voice 2 counts with    if Z
; No chunks: the piece ends.

        jp      start           ; 10  +0: play the piece
        jp      step            ; 10  +3: play one step
        jp      stop            ; 10  +6: silence; the next step is the first
border: defb    0               ; +9: the other bits of the port: border colour, tape output

; ---- fetching an event. A step begins with the first of these passes.

event:
        ex      af,af'          ; 4   = 18
fetch:
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        pop     af              ; 10
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        jp      fetch1          ; 10
        @stubs
fetch1:
        @voice 2
        exx                     ; 4   = 18
        out     (port),a        ; 11
        ex      af,af'          ; 4
        jp      m,drum          ; 10
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        xor     a               ; 4   voice 2 rests for this pass; its 30 cycles serve the keys
        in      a,(port)        ; 11
        or      224             ; 7
        inc     a               ; 4
        jp      nz,key          ; 10
        ld      a,c             ; 4
        exx                     ; 4   = 48
        out     (port),a        ; 11
        ex      af,af'          ; 4
        jp      nc,same1        ; 10
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        pop     de              ; 10
fetch3: exx                     ; 4
        @voice 2
        exx                     ; 4   = 18
        out     (port),a        ; 11
        ex      af,af'          ; 4
        jp      nz,same2        ; 10
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        pop     de              ; 10
fetch4:
        @voice 2
        exx                     ; 4   = 18
        out     (port),a        ; 11
        ex      af,af'          ; 4
        jp      pe,last         ; 10
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        ld      b,rounds-5      ; 7
        exx                     ; 4
        ld      b,rounds-4      ; 7   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        nop                     ; 4
        jp      loop            ; 10  = 18
        @stubs
same1:
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        jp      fetch3          ; 10
        @stubs
same2:
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        jp      fetch4          ; 10
        @stubs
last:
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        ld      sp,ix           ; 10
        nop                     ; 4   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        pop     iy              ; 14  = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        pop     ix              ; 14  = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        ld      sp,iy           ; 10
        nop                     ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        ld      b,rounds-7      ; 7   2 passes less: changing phrases has taken as many
        exx                     ; 4
        ld      b,rounds-6      ; 7   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        nop                     ; 4
        jp      loop            ; 10  = 18
        @stubs

; ---- the sound loop: both voices in turn. Voice 2 counts one round more, so that voice 1 ends it.

loop:
        @voice 0
        out     (port),a        ; 11
        exx                     ; 4
        dec     b               ; 4
        jp      nz,loop         ; 10  = 18
looped:

; ---- the end of a chunk

        @voice 1
        out     (port),a        ; 11
        ld      b,rounds        ; 7
        exx                     ; 4
        ld      b,more          ; 7   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        dec     sp              ; 6   undone below: six cycles are wanted twice
        nop                     ; 4
        @voice 1
        exx                     ; 4   = 18
        out     (port),a        ; 11
        ex      af,af'          ; 4
        dec     a               ; 4
        ex      af,af'          ; 4
        inc     sp              ; 6   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        jp      chunk           ; 10
        @stubs
chunk:
        @voice 1
        exx                     ; 4   = 18
        out     (port),a        ; 11
        ex      af,af'          ; 4
        jp      z,event         ; 10
        ex      af,af'          ; 4   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        nop                     ; 4
        jp      loop            ; 10  = 18
        @stubs

; ---- a drum: the voices stop. First its event is read, either way of each branch in the same time.

drum:
        ld      (count1),hl     ; 16  14 have passed since the write of voice 2
        ld      (tone1),de      ; 20
        ld      (level1),bc     ; 20
        exx                     ; 4
        ld      (count2),hl     ; 16
        ld      (tone2),de      ; 20
        ld      (level2),bc     ; 20
        push    af              ; 11  where it came from
        pop     bc              ; 10
        or      a               ; 4
        jp      z,ended         ; 10
        xor     a               ; 4
        in      a,(port)        ; 11
        or      224             ; 7
        inc     a               ; 4
        jp      nz,key          ; 10
number: ld      a,c             ; 4   C: flags, B: chunks
        and     56              ; 7
        ld      e,a             ; 4   eight bytes a number
        ld      d,0             ; 7
        cp      56              ; 7
        jr      z,far           ; 7   or 12
        ld      hl,drums        ; 10
        add     hl,de           ; 11
        ex      de,hl           ; 4   either way 32
tones:  bit     0,c             ; 8
        jr      z,keeps1        ; 7   or 12
        pop     hl              ; 10
        ld      (tone1),hl      ; 16  either way 33
tones1: bit     6,c             ; 8
        jr      z,keeps2        ; 7   or 12
        pop     hl              ; 10
        ld      (tone2),hl      ; 16  either way 33
tones2: bit     2,c             ; 8
        jr      z,stays         ; 7   or 12
        ld      sp,ix           ; 10
        pop     hl              ; 10
        pop     ix              ; 14
        ld      sp,hl           ; 6   either way 47
stayed: ld      (place),sp      ; 20
        ex      de,hl           ; 4
        ld      sp,hl           ; 6
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        add     hl,hl           ; 11  a pause
        add     hl,hl           ; 11
        jp      part            ; 10
far:    pop     de              ; 10
        jp      tones           ; 10
keeps1: add     hl,hl           ; 11
        jp      tones1          ; 10
keeps2: add     hl,hl           ; 11
        jp      tones2          ; 10
stays:  jr      stays1          ; 12
stays1: add     hl,hl           ; 11
        jr      stayed          ; 12

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
hold:   ld      a,3             ; 7   37 cycles until here
hold1:  dec     a               ; 4
        jr      nz,hold1        ; 7   or 12; 50 in all
        ld      a,0             ; 7
        jr      hold2           ; 12
hold2:  jr      drumming        ; 12  = 118
beaten: pop     bc              ; 10  26 cycles until here
        ld      a,b             ; 4
        or      a               ; 4
        exx                     ; 4
        jr      z,part          ; 7   or 12; 118 until the next part drums
        ld      a,b             ; 4
        exx                     ; 4
        sub     c               ; 4
        ex      af,af'          ; 4
        nop                     ; 4

; The voices go on with what they were left with, for B rounds of the loop.

back:   ld      sp,(place)      ; 20
        ld      a,b             ; 4
        exx                     ; 4
        ld      b,a             ; 4
        inc     b               ; 4
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        ld      a,(level2)      ; 13
        and     speaker         ; 7
        or      c               ; 4
        ld      c,a             ; 4
        ld      hl,(count2)     ; 16
        ld      de,(tone2)      ; 20
        exx                     ; 4
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        ld      a,(level1)      ; 13
        and     speaker         ; 7
        or      c               ; 4
        ld      c,a             ; 4
        ld      hl,(count1)     ; 16
        ld      de,(tone1)      ; 20
        jp      loop            ; 10

; ---- a key, or an event without chunks: the piece ends, or one step has been played

key:    ld      a,1             ; 7
        jr      leave           ; 12
ended:  ld      a,c             ; 4
        and     2               ; 7

; Back to the caller, with A: 0 a step was played, 1 a key was pressed, 2 the piece has ended.

leave:  exx                     ; 4
        ld      b,a             ; 4
        ld      (next),ix       ; 20
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
        pop     iy              ; 14
        pop     ix              ; 14
        pop     af              ; 10
        jp      po,leave1       ; 10
        ei                      ; 4
leave1: ld      a,b             ; 4
        ret                     ; 10

; ---- calls. They use AF, BC, DE and HL; IX, IY and the other set come back as they were, and so does
; the state of the interrupts, which are off meanwhile.

enter:  pop     hl              ; 10
        ld      a,i             ; 9   P/V: interrupts are on
        jp      pe,enter1       ; 10
        ld      a,i             ; 9   again: one that came just then would have hidden it
enter1: di                      ; 4
        push    af              ; 11
        push    ix              ; 15
        push    iy              ; 15
        exx                     ; 4
        push    bc              ; 11
        push    de              ; 11
        push    hl              ; 11
        exx                     ; 4
        ex      af,af'          ; 4
        push    af              ; 11
        ld      (stack),sp      ; 20
        jp      (hl)            ; 4

stop:   xor     a               ; 4
        ld      (playing),a     ; 13
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        out     (port),a        ; 11
        ret                     ; 10

start:  call    enter           ; 17
        call    begin           ; 17
release: xor    a               ; 4   the key that gave the command must be up first
        in      a,(port)        ; 11
        or      224             ; 7
        inc     a               ; 4
        jr      nz,release      ; 7   or 12
        ld      hl,place        ; 10
        ld      (back+2),hl     ; 16
        ld      ix,(next)       ; 20
        inc     a               ; 4   a silent chunk of one round, then the first event
        ld      b,a             ; 4
        ex      af,af'          ; 4
        jp      back            ; 10

begin:  ld      hl,rest         ; 10
        ld      de,count1       ; 10
        ld      bc,14           ; 10
        ldir                    ; 21  or 16
        ld      hl,order        ; 10
        ld      c,4             ; 7
        ldir                    ; 21  or 16
        ret                     ; 10

; One step: the event is read here, without the voices; where the step ends the player finds one
; without chunks.

step:   call    enter           ; 17
        ld      a,(playing)     ; 13
        or      a               ; 4
        call    z,begin         ; 10  or 17
        ld      hl,pause        ; 10
        ld      (back+2),hl     ; 16
        ld      ix,(next)       ; 20
        ld      a,(left)        ; 13
        or      a               ; 4
        jr      nz,again        ; 7   or 12
        exx                     ; 4
        ld      sp,(place)      ; 20
        pop     bc              ; 10
        ld      a,b             ; 4
        or      a               ; 4
        jp      z,ended         ; 10
        sub     chunks          ; 7
        ld      (left),a        ; 13
        ld      b,chunks        ; 7
        bit     7,c             ; 8
        jp      nz,number       ; 10
        ld      de,none         ; 10
        jp      tones           ; 10
again:  sub     chunks          ; 7
        ld      (left),a        ; 13
        ld      a,chunks        ; 7
        ex      af,af'          ; 4
        ld      b,rounds        ; 7
        jp      back            ; 10

; ---- what the player remembers

rest:   defw    resting, silence, resting, silence, 0, 0
        defb    0, 1
none:   defw    0, 0, 1        ; a sound that takes no time
        defb    0, rounds
pause:  defw    pause+2
        defb    128, 0          ; an event without chunks
stack:  defw    0
count1: defw    0
tone1:  defw    0
count2: defw    0
tone2:  defw    0
level1: defw    0
level2: defw    0
left:   defb    0
playing: defb   0
place:  defw    0
next:   defw    0
