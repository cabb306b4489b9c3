%
(Prick out two seedlings from the seed tray into the cells of a planting tray.)
(A turntable, B shoulder, C elbow, D forearm, E wrist, U tool; all in degrees.)
(The tool opens and closes by turning: U90 holds, U0 lets go.)
N10 G94 G90

(To the seed tray.)
N20 G0 A-35 B-20 C80 E-30

(First seedling.)
N100 G1 B-8 C86 E-44 F1800 (down beside the roots)
N110 U90 F3000             (take hold)
N120 G4 P0.3
N130 G1 B-20 C80 E-30 F1200 (lift slowly, roots and all)
N140 G0 A28 D12            (over to the planting tray)
N150 G1 B-6 C84 E-46 F1500 (set it into the cell)
N160 U0 F3000              (let go)
N170 G4 P0.2
N180 G0 B-20 C80 E-30

(Second seedling, one cell further.)
N200 G0 A-32 D0
N210 G1 B-8 C86 E-44 F1800
N220 U90 F3000
N230 G4 P0.3
N240 G1 B-20 C80 E-30 F1200
N250 G0 A34 D12
N260 G1 B-6 C84 E-46 F1500
N270 U0 F3000
N280 G4 P0.2
N290 G0 B-20 C80 E-30
N295 G0 A0                 (over the middle of the tray)

(Firm the soil: two short strokes, relative, timed.)
N300 G91
N310 G93 G1 B4 E-4 F120
N320 G1 B-4 E4 F120
N330 G1 B4 E-4 F120
N340 G1 B-4 E4 F120
N350 G90 G94

(Back to where the arm rests.)
N400 G0 A0 B-60 C110 D0 E-50
N410 M2
%
