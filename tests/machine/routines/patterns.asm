; Patterns of two bytes a step, and an order list of their addresses. Two period counters; a drum
; stands in place of voice 1 and takes the step. All ways from step to step take as long: from the
; last pass to the first write of the next step 360 cycles more than from pass to pass.
; At 0x9000 stand the count of the step length and the address of the order list.
        org 0x8000
start:  ld a,(0x9000)
        ld (passes+3),a ; 256 passes a count
        ld bc,0x0101    ; periods
        ld de,0x0101    ; what is left of them
        ld hl,0         ; levels
        exx
        ld de,(0x9001)  ; the order list
        ld hl,ended
        jp next+1
ended:  defb 255
wait:   ret             ; 27 with its call

next:   exx             ;  4
        ld a,(hl)       ;  7
        cp 255          ;  7, does the pattern end?
        jr z,turn       ;  7 or 12
        call wait       ; 124, as long as the longest way takes more
        call wait
        call wait
        call wait
        nop
        nop
        nop
        nop
        jp read         ; 10
turn:   ex de,hl        ;  4
        ld e,(hl)       ;  7
        inc hl          ;  6
        ld d,(hl)       ;  7
        inc hl          ;  6
        ld a,d          ;  4
        or a            ;  4, does the order list end?
        jr z,over       ;  7 or 12
        ex de,hl        ;  4
        call wait       ; 70
        call wait
        nop
        nop
        nop
        nop
        jp read         ; 10
over:   ld e,(hl)       ;  7
        inc hl          ;  6
        ld d,(hl)       ;  7
        ex de,hl        ;  4
        ld a,h          ;  4
        or a            ;  4, does the piece end?
        jr z,quiet      ;  7
        ld e,(hl)       ;  7
        inc hl          ;  6
        ld d,(hl)       ;  7
        inc hl          ;  6
        ex de,hl        ;  4
        jp read         ; 10
quiet:  xor a
        out (254),a
        ret

read:   ld a,(hl)       ;  7
        inc hl          ;  6
        cp 240          ;  7
        jp nc,knock     ; 10
        ld c,a          ;  4, from here to the first pass 161
        cp 1            ;  7, 0 is silence: no flip, each pass
        sbc a,a         ;  4
        cpl             ;  4
        and 16          ;  7
        ld (mask1+1),a  ; 13
        ld a,c          ;  4
        cp 1            ;  7
        adc a,0         ;  7
        exx             ;  4
        ld b,a          ;  4
        exx             ;  4
        ld a,(hl)       ;  7
        inc hl          ;  6
        ld c,a          ;  4
        cp 1            ;  7
        sbc a,a         ;  4
        cpl             ;  4
        and 16          ;  7
        ld (mask2+1),a  ; 13
        ld a,c          ;  4
        cp 1            ;  7
        adc a,0         ;  7
        exx             ;  4
        ld c,a          ;  4
passes: ld iy,0         ; 14

pass:   dec d           ;  4, voice 1: 30 to count, either way
        jr nz,same1     ;  7 or 12
        ld d,b          ;  4
        ld a,h          ;  4
mask1:  xor 0           ;  7
        ld h,a          ;  4
show1:  ld a,h          ;  4
        out (254),a     ; 11
        dec e           ;  4, voice 2
        jr nz,same2     ;  7 or 12
        ld e,c          ;  4
        ld a,l          ;  4
mask2:  xor 0           ;  7
        ld l,a          ;  4
show2:  ld a,l          ;  4
        out (254),a     ; 11, 45 after voice 1
        dec iy          ; 10
        defb 0xFD,0x7C  ;  8, ld a,iyh
        defb 0xFD,0xB5  ;  8, or iyl
        jp nz,pass      ; 10, 126 in all
        jp next         ; 10
same1:  nop             ;  4
        jp show1        ; 10
same2:  nop             ;  4
        jp show2        ; 10

knock:  inc hl          ;  6
        push de         ; 11
        ld d,81         ;  7
        ld c,24         ;  7
        xor a           ;  4
        call wait       ; 153: its first flip comes when a tone's first write would
        call wait
        call wait
        call wait
        call wait
        nop
        nop
        jp flip
flip:   xor 16          ;  7, from flip to flip 39 + 13 * d
        out (254),a     ; 11
        ld b,d          ;  4
        djnz $          ; 13, but 8 at last
        inc d           ;  4
        inc d           ;  4
        dec c           ;  4
        jp nz,flip      ; 10
        pop de          ; 10
        push hl         ; 11
        ld hl,(passes+2) ; 16
        ld bc,-266      ; 10, the passes that are over
        add hl,bc       ; 11
        push hl         ; 11
        pop iy          ; 14
        pop hl          ; 10
        nop             ;  4
        nop             ;  4
idle:   dec iy          ; 10
        ld b,6          ;  7
        djnz $          ; 73
        jp idle2        ; 10
idle2:  defb 0xFD,0x7C  ;  8, ld a,iyh
        defb 0xFD,0xB5  ;  8, or iyl
        jp nz,idle      ; 10, 126 in all
        exx             ;  4
        jp next         ; 10
