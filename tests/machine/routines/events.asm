; Events: a byte with how many steps they last and what comes after it, then only what changes. Two
; phase accumulators; the voices go on after a drum. To read an event takes up to 600 cycles more
; than to go on to the next step of one.
; At 0x9000 stand the count of the step length, the address of the pitch table, and that of the music.
        org 0x8000
start:  ld a,(0x9000)
        ld (passes+1),a ; 256 passes a count
        xor a
        ld (passes),a
        ld h,a
        ld l,a
        ld (first),hl
        ld (second),hl
        ld ix,0
        exx
        ld de,(0x9001)
        ld hl,(0x9003)
        jr read
passes: defw 0
first:  defw 0          ; what the voices add each pass
second: defw 0

next:   exx
read:   ld a,(hl)
        inc hl
        cp 255
        jr z,over
        ld b,a          ; length - 1 (5 bits), voice 1, voice 2, drum
        rrca
        rrca
        rrca
        and 31
        inc a
        ld (steps+1),a
        bit 2,b
        jr z,same1
        call tone
        ld (first+1),a
        ld a,c
        ld (first),a
same1:  bit 1,b
        jr z,same2
        call tone
        ld (second+1),a
        ld a,c
        ld (second),a
same2:  ld iy,(passes)
        bit 0,b
        call nz,drum
        exx
        ld bc,(first)
        ld de,(second)
        jr pass
over:   ld a,(hl)       ; the address to go on at, or 0
        inc hl
        ld h,(hl)
        ld l,a
        or h
        jr nz,read
        out (254),a
        ret

tone:   ld a,(hl)       ; to A and C what a voice adds
        inc hl
        cp 255
        jr z,rest
        push hl
        ld l,a
        ld h,0
        add hl,de
        ld c,(hl)
        inc hl
        ld a,(hl)
        pop hl
        ret
rest:   xor a
        ld c,a
        ret

step:   ld iy,(passes)  ; 20
pass:   add hl,bc       ; 11, voice 1
        ld a,h          ;  4
        rrca            ;  4
        rrca            ;  4
        rrca            ;  4
        and 16          ;  7
        out (254),a     ; 11
        add ix,de       ; 15, voice 2
        defb 0xDD,0x7C  ;  8, ld a,ixh
        rrca            ;  4
        rrca            ;  4
        rrca            ;  4
        and 16          ;  7
        out (254),a     ; 11, 53 after voice 1
        dec iy          ; 10
        defb 0xFD,0x7C  ;  8, ld a,iyh
        defb 0xFD,0xB5  ;  8, or iyl
        jp nz,pass      ; 10, 134 in all
steps:  ld a,0          ;  7
        dec a           ;  4
        ld (steps+1),a  ; 13
        jr nz,step      ; 12
        jp next

drum:   ld a,(hl)       ; 1: a hat, 2: a gap
        inc hl
        push hl
        push de
        dec a
        jr nz,gap
        ld hl,0xFFFF
        ld e,0
        ld b,150
hat:    add hl,hl       ; 11, from bit to bit 69
        sbc a,a         ;  4
        and 0x2D        ;  7
        xor l           ;  4
        ld l,a          ;  4
        and 16          ;  7
        xor e           ;  4
        ld e,a          ;  4
        out (254),a     ; 11
        djnz hat        ; 13
        ld de,-78       ; passes that are over
        jr less
gap:    xor a
        out (254),a
        ld bc,1077
rests:  dec bc          ;  6
        ld a,b          ;  4
        or c            ;  4
        jr nz,rests     ; 12
        ld de,-209
less:   ld hl,(passes)
        add hl,de
        push hl
        pop iy
        pop de
        pop hl
        ret
