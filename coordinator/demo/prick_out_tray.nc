%
(Prick out two seedlings from the seed tray into the cells of a planting tray.)
(A turntable, B shoulder, C elbow, D forearm, E wrist, U tool; all in degrees.)
(M3 closes the gripper, M5 opens it. Behind M3 the arm waits until a seedling is held: arm.toml.)
N10 G94 G90

(To the seed tray.)
N20 G0 A-35 B-20 C80 E-30

(First seedling.)
N100 G1 B-8 C86 E-44 F900 (down beside the roots)
N110 M3                    (take hold)
N130 G1 B-20 C80 E-30 F600 (lift slowly, roots and all)
N140 G0 A28 D12 U90        (over to the planting tray)
N150 G1 B-6 C84 E-46 F900 (set it into the cell)
N160 M5                    (let go)
N170 G4 P0.2
N180 G0 B-20 C80 E-30

(Second seedling, one cell further.)
N200 G0 A-32 D0 U0
N210 G1 B-8 C86 E-44 F900
N220 M3
N240 G1 B-20 C80 E-30 F600
N250 G0 A34 D12 U90
N260 G1 B-6 C84 E-46 F900
N270 M5
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
N400 G0 A0 B-60 C110 D0 E-50 U0
N410 M2
%
