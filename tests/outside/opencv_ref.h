/* A few functions of OpenCV to compare with. Plain arrays; false where OpenCV throws or fails.
   lens: fx fy cx cy k1 k2 p1 p2 k3, as in a profile. A pose is a rotation vector (rad) and a
   translation: camera_from_object. */
#ifndef TR_TESTS_OUTSIDE_OPENCV_REF_H
#define TR_TESTS_OUTSIDE_OPENCV_REF_H

#include <stdbool.h>

#ifdef __cplusplus
extern "C" {
#endif

/* Columns of ref_project's Jacobian: rotation vector, translation, then the lens's order. */
enum { REF_ROTATION = 0, REF_TRANSLATION = 3, REF_LENS = 6, REF_COLUMNS = 15 };

/* cv::projectPoints. xyz: n x 3, uv: n x 2, J: 2n x REF_COLUMNS by rows, may be NULL. */
bool ref_project(const double *xyz, int n, const double rotation[3], const double translation[3],
                 const double lens[9], double *uv, double *J);

/* The least-squares pose: cv::solvePnP (iterative) refined by cv::solvePnPRefineLM to the end. */
bool ref_solve_pnp(const double *xyz, const double *uv, int n, const double lens[9],
                   double rotation[3], double translation[3]);

/* cv::solvePnPGeneric with IPPE, each candidate refined as above: at most two, in OpenCV's order.
   rotation, translation: up to 2 x 3. rms_px: of the 2n residuals. Returns their number, -1 on
   failure. */
int ref_solve_planar(const double *xyz, const double *uv, int n, const double lens[9],
                     double *rotation, double *translation, double *rms_px);

/* cv::calibrateCamera with its five coefficients, to the end. xyz, uv: all photos' points one after
   another, n_points[i] of photo i. */
bool ref_calibrate(const double *xyz, const double *uv, const int *n_points, int n_photos,
                   int width_px, int height_px, double lens[9]);

#ifdef __cplusplus
}
#endif

#endif
