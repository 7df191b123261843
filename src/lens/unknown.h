/* A lens that was not calibrated: what may be said of it before its photos are asked. */
#ifndef TR_LENS_UNKNOWN_H
#define TR_LENS_UNKNOWN_H

#include "lens/lens.h"

/* The name of a lens without a profile, in job files too. */
#define TR_LENS_UNKNOWN_ID "unknown"

/* The lens of photos of this size, taken with this camera (as EXIF has it; may be all zero), with
   standard deviations that hold for the rectilinear lenses of phones:
     fx = fy   from the focal length equivalent to 35 mm film, f px = f mm * longer side / 35.3 mm,
               with 7 %. Cameras equate either the longer side (36 mm) or the diagonal (43.3 mm, in
               a 4:3 picture a longer side of 34.6 mm); the factor lies between. They round to whole
               millimetres (2 % at 13 mm) and state the lens and not what correction of distortion
               and stabilisation left of its picture: the phone of phone-b (below) says 26 mm, and
               has 28. Where none is told: 0.76 of the longer side, what a phone's main camera has
               (26 to 28 mm), with 0.4 of it, which weighs next to nothing.
     fx / fy   1, with 0.1 %: pixels are square.
     cx, cy    the middle of the image, with 2 % of the longer side: assembly, and what
               stabilisation rests at.
     k1 0.2   k2 0.8   k3 1.2   p1, p2 0.002, each about 0.
   'trammel lens' has 3147 px, k1 0.17, k2 -0.86, p1 -0.0009, p2 0.0014, k3 1.4 of phone-b
   (shared/data/phone-photos, 4000 px long); for other phones these are rather too wide than too
   narrow. A fish-eye is none of them. */
void tr_lens_unknown(const tr_camera *camera, int width_px, int height_px, tr_lens *out);

#endif
