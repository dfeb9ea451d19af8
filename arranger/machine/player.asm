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
;   flags and chunks            flags: C voice 1 changes, Z voice 2 changes, P/V last of its phrase
;   what voice 1 counts with    if C
;   what voice 2 counts with    if Z
; With flag S and without C: the phrase ends. With S and C it is a drum: a word with its address, and
; for "chunks" 0, 1 (last of its phrase) or 2 (no address: the piece ends).

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
        jp      m,special       ; 10
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        xor     a               ; 4   voice 2 rests for this pass; its 30 cycles serve the keys
        in      a,(port)        ; 11
        or      224             ; 7
        inc     a               ; 4
keys:   jp      nz,key          ; 10
nokey:  ld      a,c             ; 4
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
        ld      b,rounds-10     ; 7   5 passes less: changing phrases takes as many
        exx                     ; 4
        ld      b,rounds-9      ; 7   = 18
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
ends:   jp      z,event         ; 10
        ex      af,af'          ; 4   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
        nop                     ; 4
        jp      loop            ; 10  = 18
        @stubs
; ---- the end of a phrase, or a drum

special:
        ex      af,af'          ; 4   = 18
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        jp      special1        ; 10
        @stubs
special1:
        @voice 2
        exx                     ; 4   = 18
        out     (port),a        ; 11
        ex      af,af'          ; 4
        jp      c,drum          ; 10
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
join:
        @voice 1
        out     (port),a        ; 11
        exx                     ; 4
        nop                     ; 4
        jp      fetch           ; 10  = 18
        @stubs

; ---- a drum: the voices stop; the pin flips every H cycles of 118, and H grows by L each time. Noise
; flips it only where the next bit of a shift register is 1: HL' shifts left, what falls out comes back
; through the taps E'. For a kick the register holds ones only. A drum's words: taps, H and L, cycles of
; 118 to sound and to be silent, each plus one. From the last write (voice 2) to the first write of the
; drum it takes 413 cycles.

drum:
        ld      (kind),a        ; 13  14 have passed since the write of voice 2
        ld      (count1),hl     ; 16
        ld      (tone1),de      ; 20
        ld      a,c             ; 4
        ld      (level1),a      ; 13
        exx                     ; 4
        ld      (count2),hl     ; 16
        ld      (tone2),de      ; 20
        ld      a,c             ; 4
        ld      (level2),a      ; 13
        ld      a,(kind)        ; 13
        cp      2               ; 7
        jp      z,quit          ; 10
        pop     hl              ; 10
        ld      (after),sp      ; 20
        ld      sp,hl           ; 6
        pop     bc              ; 10
        ld      e,c             ; 4
        ld      d,speaker       ; 7
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      c,a             ; 4
        ld      hl,65535        ; 10
        exx                     ; 4
        pop     hl              ; 10
        pop     de              ; 10
        ld      b,1             ; 7
        jp      beat            ; 10
beat:   nop                     ; 4
        nop                     ; 4   = 307
drums:  dec     de              ; 6
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
        jr      drums           ; 12  = 118
hold:
        ld      a,3             ; 7   37 cycles until here
hold1:  dec     a               ; 4
        jr      nz,hold1        ; 7   or 12; 50 in all
        ld      a,(kind)        ; 13
        nop                     ; 4
        nop                     ; 4
        jp      drums           ; 10  = 118
beaten:
        pop     de              ; 10  26 cycles until here
wait:   dec     de              ; 6
        ld      a,d             ; 4
        or      e               ; 4
        jr      z,waited        ; 7   or 12
        ld      b,6             ; 7
wait1:  djnz    wait1           ; 8   or 13; 80 in all
        ld      a,0             ; 7
        jp      wait            ; 10  = 118
waited:
        ld      a,(kind)        ; 13  26 cycles until here
        or      a               ; 4
        jr      nz,ahead        ; 7   or 12
        ld      sp,(after)      ; 20
        ld      a,(kind)        ; 13
        jr      back            ; 12
ahead:  ld      sp,ix           ; 10
        pop     hl              ; 10
        pop     ix              ; 14
        ld      sp,hl           ; 6   either way 52
back:   exx                     ; 4
        ld      a,(level2)      ; 13
        ld      c,a             ; 4
        ld      hl,(count2)     ; 16
        ld      de,(tone2)      ; 20
        exx                     ; 4
        ld      a,(level1)      ; 13
        ld      c,a             ; 4
        ld      hl,(count1)     ; 16
        ld      de,(tone1)      ; 20
        ld      b,2             ; 7
back1:  djnz    back1           ; 8   or 13; 28 in all
        nop                     ; 4
        nop                     ; 4
        jp      drummed         ; 10  = 160
drummed:
        jp      join            ; 10

; ---- the piece ends

key:    ld      a,1             ; 7
        jp      quit1           ; 10
quit:   ld      a,2             ; 7
quit1:  ld      (result),a      ; 13
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        out     (port),a        ; 11
        xor     a               ; 4
        ld      (playing),a     ; 13

; ---- back to the caller, with A: 0 a step was played, 1 a key was pressed, 2 the piece has ended

leave:  ld      sp,(stack)      ; 20
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
leave1: ld      a,(result)      ; 13
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
        ld      hl,event        ; 10
        ld      (ends+1),hl     ; 16
        ld      hl,key          ; 10
        ld      (keys+1),hl     ; 16
        ld      hl,join         ; 10
        ld      (drummed+1),hl  ; 16
        ld      ix,(next)       ; 20
        ld      hl,(place)      ; 16

; The voices go on as they were left, with the border as it is now. HL: the place in the song.

resume: ld      (resume1+1),hl  ; 16
        ld      a,(border)      ; 13
        and     255-speaker     ; 7
        ld      b,a             ; 4
        ld      a,(level2)      ; 13
        and     speaker         ; 7
        or      b               ; 4
        exx                     ; 4
        ld      c,a             ; 4
        ld      hl,(count2)     ; 16
        ld      de,(tone2)      ; 20
        exx                     ; 4
        ld      a,(level1)      ; 13
        and     speaker         ; 7
        or      b               ; 4
        ld      c,a             ; 4
        ld      hl,(count1)     ; 16
        ld      de,(tone1)      ; 20
resume1: ld     sp,0            ; 10
        jp      join            ; 10

begin:  ld      hl,resting      ; 10
        ld      (count1),hl     ; 16
        ld      (count2),hl     ; 16
        ld      hl,silence      ; 10
        ld      (tone1),hl      ; 16
        ld      (tone2),hl      ; 16
        ld      hl,(order)      ; 16
        ld      (place),hl      ; 16
        ld      hl,(order+2)    ; 16
        ld      (next),hl       ; 16
        xor     a               ; 4
        ld      (level1),a      ; 13
        ld      (level2),a      ; 13
        ld      (left),a        ; 13
        inc     a               ; 4
        ld      (playing),a     ; 13
        ret                     ; 10

; ---- one step: its event is copied to a place of its own, cut to one step

step:   call    enter           ; 17
        xor     a               ; 4
        ld      (result),a      ; 13
        ld      a,(playing)     ; 13
        or      a               ; 4
        call    z,begin         ; 10  or 17
        ld      hl,stepped      ; 10
        ld      (ends+1),hl     ; 16
        ld      hl,nokey        ; 10
        ld      (keys+1),hl     ; 16
        ld      hl,kept         ; 10
        ld      (drummed+1),hl  ; 16
        ld      a,(left)        ; 13
        or      a               ; 4
        jr      nz,again        ; 7   or 12
        ld      sp,(place)      ; 20
look:   pop     bc              ; 10
        ld      a,c             ; 4
        or      a               ; 4
        jp      m,look3         ; 10
        ld      a,b             ; 4
        ld      (left),a        ; 13
        ld      a,c             ; 4
        rra                     ; 4
        jr      nc,look1        ; 7   or 12
        pop     hl              ; 10
        ld      (word1),hl      ; 16
look1:  ld      a,c             ; 4
        and     64              ; 7
        jr      z,look2         ; 7   or 12
        pop     hl              ; 10
        ld      (word2),hl      ; 16
look2:  ld      (place),sp      ; 20
again:  ld      a,(left)        ; 13
        sub     chunks          ; 7
        ld      (left),a        ; 13
        ld      hl,words        ; 10
        jp      resume          ; 10
look3:  rra                     ; 4
        jr      c,look4         ; 7   or 12
        ld      sp,(next)       ; 20
        pop     hl              ; 10
        pop     de              ; 10
        ld      (next),de       ; 20
        ld      sp,hl           ; 6
        jr      look            ; 12
look4:  ld      a,b             ; 4
        cp      2               ; 7
        jp      z,quit          ; 10
        pop     hl              ; 10
        ld      (word3),hl      ; 16
        or      a               ; 4
        jr      z,look5         ; 7   or 12
        ld      sp,(next)       ; 20
        pop     hl              ; 10
        pop     de              ; 10
        ld      (next),de       ; 20
        ld      sp,hl           ; 6
look5:  ld      (place),sp      ; 20
        ld      hl,beats        ; 10
        jp      resume          ; 10

stepped:
        ex      af,af'          ; 4   = 18
        @voice 2
        out     (port),a        ; 11
        exx                     ; 4
kept:   ld      (count1),hl     ; 16
        ld      (tone1),de      ; 20
        ld      a,c             ; 4
        ld      (level1),a      ; 13
        exx                     ; 4
        ld      (count2),hl     ; 16
        ld      (tone2),de      ; 20
        ld      a,c             ; 4
        ld      (level2),a      ; 13
        jp      leave           ; 10
        @stubs

; ---- what the player remembers

words:  defb    65, chunks      ; an event of one step
word1:  defw    silence
word2:  defw    silence
beats:  defb    129, 0          ; a drum
word3:  defw    0
stack:  defw    0
place:  defw    0
after:  defw    0
next:   defw    0
count1: defw    0
tone1:  defw    0
count2: defw    0
tone2:  defw    0
level1: defb    0
level2: defb    0
kind:   defb    0
left:   defb    0
playing: defb   0
result: defb    0
