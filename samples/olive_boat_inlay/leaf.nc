(olive boat, the leaf of resin in its foot)
(blank 280 x 90 x 41 mm, cherry)
(zero: left front corner, top of the blank before it is planed)
(T1 6 mm flat)
(T4 6 mm drill)
G21 G90 G17
G54
G0 Z8.
(T4 6 mm drill, 118 degree point)
M5
T4 M6
S18000 M3
(dowel holes, through the blank and 3 mm into the spoilboard)
G0 X8. Y45. Z8.
Z1.
G1 Z-6. F300
G0 Z1.
Z-5.5
G1 Z-12.
G0 Z1.
Z-11.5
G1 Z-18.
G0 Z1.
Z-17.5
G1 Z-24.
G0 Z1.
Z-23.5
G1 Z-30.
G0 Z1.
Z-29.5
G1 Z-36.
G0 Z1.
Z-35.5
G1 Z-42.
G0 Z1.
Z-41.5
G1 Z-44.
G0 Z1.
Z8.
X268. Y45. Z8.
Z1.
G1 Z-6.
G0 Z1.
Z-5.5
G1 Z-12.
G0 Z1.
Z-11.5
G1 Z-18.
G0 Z1.
Z-17.5
G1 Z-24.
G0 Z1.
Z-23.5
G1 Z-30.
G0 Z1.
Z-29.5
G1 Z-36.
G0 Z1.
Z-35.5
G1 Z-42.
G0 Z1.
Z-41.5
G1 Z-44.
G0 Z1.
Z8.
(T1 6 mm flat)
M5
T1 M6
S18000 M3
(leaf, 7 mm deep)
G0 X113. Y44.25 Z8.
Z1.
G1 Z-3. F800
X142. Y45.55 F2400
G3 X113. Y44.25 I-12.669 J-41.493
X142. Y45.55 I12.669 J41.493
G1 X113. Y44.25
Z-6. F800
X142. Y45.55 F2400
G3 X113. Y44.25 I-12.669 J-41.493
X142. Y45.55 I12.669 J41.493
G1 X113. Y44.25
Z-7. F800
X142. Y45.55 F2400
G3 X113. Y44.25 I-12.669 J-41.493
X142. Y45.55 I12.669 J41.493
G1 X113. Y44.25
(overflow to the front edge, 1.5 mm deep)
G0 Z8.
X127.5 Y44.9 Z8.
Z1.
G1 Z-1.5 F800
Y-4. F2400
G0 Z8.
M5
M30
