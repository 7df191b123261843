/* A camera in every photo: unknowns of a photo with priors from what its lens profile knows of how
   the camera changes (tr_lens_scatter_sd). Private to adjust, diagnose and survey. */
#ifndef TR_ADJUST_CAMERA_H
#define TR_ADJUST_CAMERA_H

#include "adjust/adjust.h"

/* Frees all unknowns of a photo that its camera scatters in, from 0, with their priors; none where
   is_placed is false. */
void tr_camera_free(const tr_lens *lens, bool is_placed, tr_net_photo *photo);

/* The kind of scatter (lens/lens.h) of an unknown of a photo. */
int tr_camera_scatter_of(int component);

/* Whether an unknown of a photo says that it was taken by another camera, at another zoom, was cut,
   or that a hand moved: it is off by 4.5 standard deviations of what its lens may scatter by
   (tr_lens_scatter_sd). */
bool tr_camera_is_far(const tr_lens *lens, const tr_net_photo *photo, int component);

/* Holds the unknowns of all photos at their values, or frees again those that have a prior. */
void tr_camera_hold(tr_network *net, bool is_held);

/* Relative change of the focal length that the solved photos of a lens have in common, that of the
   lens included, and the standard deviation that the priors gave to it: profile, as it was set up,
   and scatter. Weighs all placed photos alike. */
double tr_camera_focal_change(const tr_network *net, int lens, double *prior_sd);

/* Widens the covariance of a lens by how its focal length returns (TR_ADJUST_FOCAL_SD). */
void tr_camera_add_focal_return(tr_lens *lens);

#endif
