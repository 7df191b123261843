/* Measuring one printed disc: where its centre is seen, at full resolution, through the lens.

   A circle that is seen at an angle is an ellipse (a little less than one through a lens that
   distorts), whose centre is not where the circle's centre is seen: at 20 degrees over a mat they
   are tenths of a pixel apart. So no ellipse is fitted, but the circle itself, on its sheet: its
   edge is projected through the sheet's pose and the lens, and the unknown is its centre on the
   sheet. What is told is the projection of that centre.

   The light of a pixel is the part of a Gaussian about it (the optics and the pixel's own box) that
   the disc takes up. By the divergence theorem that is an integral along the projected edge,
     L(p) = 1 / 2 pi  closed integral of  (1 - exp(-r'r / 2)) / r'r  (r x dr),   r = W (x - p)
   with W whitening the Gaussian's covariance: W'W = C^-1. So edges that run into each other, as
   those of a low ellipse do, are no matter. Grey values then are
     I = level + step (T(L) + rim (L_wide - L)) + (shade + fade T) . (p - centre) / size
   T being the tone curve of edge_model.h, L_wide the light for twice the blur (what sharpening adds
   is of that kind). Unknown are: the centre (2); by how much the edge lies outside the nominal
   circle, as ink runs and light bleeds (symmetric: it moves no centre); two slopes of the paper
   about its centre, which take up an error of the pose's tilt (from low down: seen from the front a
   large disc's centre is no better known than the tilt, and its covariance says so); the blur (3),
   the tone curve (3), rim, level and step, shade and fade (2 each). Most carry a weak prior. All
   but the centre, shade and fade act alike on opposite sides of the disc, so that what is wrong
   with them hardly moves it.

   Covariance: from the residuals' variance, as if neighbouring residuals that are alike were one
   (as in checker.h). tests/test_disc.c tells how it compares with true errors. */
#ifndef TR_MARKS_DISC_H
#define TR_MARKS_DISC_H

#include <stdbool.h>

#include "geom/geom.h"
#include "image/image.h"
#include "lens/lens.h"

/* Discs with less height in a photo than this, px, cannot be measured. */
#define TR_DISC_MIN_PX 3.0

/* Why a disc was not measured. */
typedef enum {
    TR_DISC_MEASURED,
    TR_DISC_OFF_IMAGE, /* not all of it lies in the photo and before the camera, face on */
    TR_DISC_TOO_SMALL,
    TR_DISC_FAINT,   /* too little contrast, or black and white exchanged */
    TR_DISC_BLURRED, /* the blur is as wide as the disc */
    TR_DISC_SIZE,    /* a disc of another size: by more than some 2 px or an eighth of the radius */
    TR_DISC_UNLIKE,  /* partly hidden, or something else */
    TR_DISC_UNSETTLED, /* the fit did not come to rest */
    TR_DISC_N_OUTCOMES
} tr_disc_outcome;

/* What is looked for. */
typedef struct {
    tr_pose camera_from_sheet; /* as predicted; its tilt may be off by some degrees */
    tr_vec2 centre_mm;         /* on the sheet */
    double diameter_mm;
    bool is_white;   /* on black ground; else black on white */
    double room_mm;  /* of plain ground about it */
    double reach_px; /* how far the centre may lie from where it is predicted */
} tr_disc_view;

/* Where the disc was not measured only the outcome counts. */
typedef struct {
    tr_disc_outcome outcome;
    tr_vec2 uv_px;        /* where its centre is seen */
    double covariance[4]; /* px^2, row by row; from the fit's own residuals */
    double sigma_px;      /* blur, the larger way */
    double contrast;      /* step from black to white, grey values */
    double growth_px; /* by which its edge lies outside the nominal one, along its longer axis */
    double height_px; /* of its image, across its longer axis */
    double rms;       /* of the fit, grey values */
} tr_disc_fit;

/* Measures the disc near its predicted place. False where there is no such disc: out->outcome says
   why. */
bool tr_disc_measure(const tr_image *image, const tr_lens *lens, const tr_disc_view *view,
                     tr_disc_fit *out);

#endif
