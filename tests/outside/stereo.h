/* Published calibrations of the 13 pairs of photos in Debian's package opencv-doc (left01..14 and
   right01..14, without 10): 640 x 480 px, 9 x 6 corners, 30 mm squares, one rigid pair of cameras.
   Made with the classic calibration toolbox for Matlab (its stereo example), k3 = 0; its "±" are
   three standard deviations. Figures as quoted in texts on that example; the ± of the single
   cameras from memory. */
#ifndef TR_TESTS_OUTSIDE_STEREO_H
#define TR_TESTS_OUTSIDE_STEREO_H

enum { STEREO_PAIRS = 13, STEREO_PARAMETERS = 8 };
#define STEREO_FOLDER "/usr/share/doc/opencv-doc/examples/data"

static const int stereo_numbers[STEREO_PAIRS] = {1, 2, 3, 4, 5, 6, 7, 8, 9, 11, 12, 13, 14};

/* fx fy cx cy k1 k2 p1 p2: left, right */
static const double stereo_lens[2][STEREO_PARAMETERS] = {
    {533.52331, 533.52699, 341.60376, 235.19287, -0.28838, 0.09714, 0.00109, -0.00030},
    {536.81377, 536.47649, 326.28657, 250.10121, -0.28943, 0.10690, -0.00059, 0.00014}};
static const double stereo_lens_3sd[2][STEREO_PARAMETERS] = {
    {0.831, 0.841, 1.239, 1.205, 0.0062, 0.0216, 0.00028, 0.00034},
    {0.876, 0.865, 1.314, 1.166, 0.0049, 0.0088, 0.00022, 0.00055}};
/* Between corner finders the left cy moves by 1.3 px, a little more than its ±. */
static const double stereo_left_cy_tolerance_px = 1.4;

/* The left camera's frame in the right one: rotation vector (rad) and translation (mm), both
   cameras adjusted together. */
static const double stereo_rotation_rad[3] = {0.00669, 0.00452, -0.00350};
static const double stereo_rotation_3sd_rad[3] = {0.0027, 0.00308, 0.00029};
static const double stereo_base_mm[3] = {-99.80198, 1.12443, 0.05041};
static const double stereo_base_3sd_mm[3] = {0.142, 0.11352, 0.49773};

/* OpenCV 4.6 on the same photos, all five coefficients free, corners by cornerSubPix with a window
   of 5: fx fy cx cy k1 k2 p1 p2 k3, and their standard deviations (sigma from 2n - m). Computed,
   not published. */
static const double stereo_opencv[2][9] = {
    {532.827, 532.946, 342.487, 233.856, -0.28088, 0.02518, 0.001217, -0.000136, 0.16343},
    {537.453, 536.969, 327.586, 248.882, -0.29755, 0.14968, -0.000760, 0.000326, -0.06601}};
static const double stereo_opencv_sd[2][9] = {
    {0.438, 0.459, 0.462, 0.510, 0.00543, 0.0416, 0.000112, 0.000140, 0.0887},
    {0.482, 0.468, 0.521, 0.525, 0.00338, 0.0156, 0.000106, 0.000248, 0.0227}};
/* Its rms per corner, px: left, right. */
static const double stereo_opencv_rms_px[2] = {0.19542, 0.20702};

#endif
