/* Does a lens still agree with its profile? A few photos of a board give the lens anew, with the
   scatter that the profile tells, and both are compared within their covariances. With L the
   profile and C its covariance, x the lens as the photos have it and P its covariance, adjusted
   with a prior W about L that is as wide as that of a lens of which nothing is known
   (lens/unknown.h), the photos alone have the information
     N = P^-1 - W^-1    and    y = P^-1 (x - L)
   is 0 but for chance, with covariance  N C N + N. Of it counts what the photos tell better than W
   does. A focal length that is another by the part d (fx and fy alike) makes y = N g d, with g =
   (fx, fy, 0 ...): d follows by generalised least squares, and what is left of y'(N C N + N)^-1 y
   is chi-squared of the rest, independent of d (Rao, Linear statistical inference and its
   applications, 2nd ed., 1973, sec. 4a.3). The board's pitch cancels: from flat boards the focal
   length follows by angles alone.

   C is that of the profile and, unless the profile says that the camera is steady, what the
   distortion of phones changes by from one day to the next; the scatter from photo to photo is that
   of the profile and of phones in a steady hand, pooled.

   The focal length is called different where chance would make it so in fewer than one of 100
   checks, the rest in fewer than one of 200. */
#ifndef TR_CALIB_RECHECK_H
#define TR_CALIB_RECHECK_H

#include "calib/lens_run.h"

/* Fewer photos tell nothing of a lens that one bad photo could not. */
enum { TR_RECHECK_MIN_PHOTOS = 3 };

typedef enum { TR_RECHECK_AGREES, TR_RECHECK_DIFFERS, TR_RECHECK_NOT_ENOUGH } tr_recheck_verdict;

/* "agrees", "differs", "not enough". */
const char *tr_recheck_word(tr_recheck_verdict verdict);

typedef struct {
    tr_lens stored;
    bool is_measured;    /* enough photos could be used to try; else the numbers below are 0 */
    double focal_change; /* d above: the focal length now, over the profile's, less 1 */
    double focal_sd;     /* of that, profile and photos together */
    double focal_told;   /* a change by this part is told in nine of ten checks */
    double focal_chance; /* how often chance alone makes as much: 0 to 1 */
    double rest_chi2;    /* principal point, fx / fy and distortion */
    int rest_dof;        /* how many of these the photos tell */
    double rest_chance;
    tr_recheck_verdict verdict;
    tr_findings reasons; /* why it is not "agrees", and what else a person should know; owned */
} tr_recheck;

/* run: as tr_lens_photos left it. Photos that were not taken with the profile's camera and size
   take no part, and keep their reason. run->calibration.lens becomes the lens as the photos tell
   it. out is to be released in any case. TR_NO_MEASURE where no photo can be used, or the photos
   contradict each other; err says why and what to do. */
TR_MUST_USE bool tr_recheck_solve(tr_lens_run *run, const tr_lens *stored, tr_recheck *out,
                                  tr_error *err);
void tr_recheck_release(tr_recheck *recheck);

/* How often chi-squared of dof >= 1 degrees of freedom is at least this. Source: Abramowitz and
   Stegun, Handbook of mathematical functions, 1964, 26.4.4 and 26.4.5. */
double tr_chi2_chance(double chi2, int dof);

#endif
