; A routine of 32 bytes for a song that is code itself: two words a step, and a call of `core`.
; Two phase accumulators; bit 12 of each is the level. Every pass takes 110 cycles.
        org 0x8000
core:   ld iy,0         ; 14, passes of the step: the song puts them here
pass:   add hl,bc       ; 11, voice 1
        ld a,h          ;  4
        and 16          ;  7
        out (254),a     ; 11
        add ix,de       ; 15, voice 2
        defb 0xDD,0x7C  ;  8, ld a,ixh
        and 16          ;  7
        out (254),a     ; 11, 41 after voice 1
        dec iy          ; 10
        defb 0xFD,0x7C  ;  8, ld a,iyh
        defb 0xFD,0xB5  ;  8, or iyl
        jp nz,pass      ; 10
        ret             ; 10
quiet:  xor a           ; the song ends here
        out (254),a
        ret
start:  ld hl,0
        ld ix,0
        jp 0x9000       ; the song
