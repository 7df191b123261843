/* How a sheet that is not flat stands over its plane. Of a point (x, y) of the sheet's file, hx and
   hy being half the face's width and height, with f(d) = (1 - d / reach)^2 for d < reach, else 0:
     l = f(hx + x)   r = f(hx - x)   b = f(hy + y)   t = f(hy - y)
     z = L l + R r + B b + T t + (LB - L - B) l b + (RB - R - B) r b + (LT - L - T) l t +
         (RT - R - T) r t + wave sin(kx x + ky y + phase)
   So L is the height of the left side, LB that of the corner at the bottom left; z and its slope
   are continuous. reach is at most hx and hy.
   The renderer and the simulated marks each have this formula for themselves, so that one can be
   held against the other. */
#ifndef TR_TOOLS_RELIEF_H
#define TR_TOOLS_RELIEF_H

enum { TR_RELIEF_LEFT, TR_RELIEF_RIGHT, TR_RELIEF_BOTTOM, TR_RELIEF_TOP };

/* All zero: flat. */
typedef struct {
    double side_mm[4];         /* left, right, bottom, top */
    double corner_mm[4];       /* left bottom, right bottom, left top, right top */
    double reach_mm;           /* 0: no side or corner is lifted */
    double wave_mm;            /* amplitude */
    double wave_rad_per_mm[2]; /* along x and y */
    double wave_rad;           /* phase */
} tr_relief;

#endif
