/* General libraries that the program is compared with: OpenCV behind plain C. No type, exception or
   allocation of it gets past this header. Functions return false where
   OpenCV fails or has no result. lens: fx fy cx cy k1 k2 p1 p2 k3; points: three (mm) or two (px)
   numbers each. */
#ifndef TR_TOOLS_BENCH_REFERENCE_H
#define TR_TOOLS_BENCH_REFERENCE_H

#include <stdbool.h>
#include <stdint.h>

#ifdef __cplusplus
extern "C" {
#endif

/* To be called once in each process: how many threads OpenCV may use by itself. */
void ref_settle(int n_threads);

/* Whether OpenCV's aruco module was there when this was built (tools/setup --bench). */
bool ref_has_aruco(void);

/* imread and aruco::detectMarkers with sub-pixel corners.
   found is called for each tag of tag36h11, its corners in tr_tag_corner's order. */
bool ref_detect_markers(const char *path, void (*found)(void *context, int id, const double uv[8]),
                        void *context);

bool ref_solve_pnp(const double *xyz, const double *uv, int n, const double lens[9],
                   double rotation[9], double translation[3]);

/* findChessboardCornersSB on the image as it is; is_accurate: with its flags for calibration
   (exhaustive, accuracy), else with the quick ones. uv: columns x rows corners. */
bool ref_chessboard(uint8_t *px, int width, int height, int columns, int rows, bool is_accurate,
                    double *uv);

/* calibrateCamera with five coefficients; n_views times n points. */
bool ref_calibrate(const double *xyz, const double *uv, int n, int n_views, int width, int height,
                   double lens[9]);

#ifdef __cplusplus
}
#endif

#endif
