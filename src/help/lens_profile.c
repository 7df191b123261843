#include <stddef.h>

#include "help/pages.h"

const tr_help_format tr_help_lens_profile = {
    .name = "lens-profile",
    .summary = "the lens of one camera at one focus, zoom and image size",
    .intro =
        (const char *const[]){
            "`trammel lens` writes it. It may be written by hand where the lens was calibrated "
            "elsewhere. A lens that cannot be one is refused: a focal length or centre that does "
            "not fit the image size, a distortion that maps two directions to one pixel, a "
            "covariance that is not symmetric and positive semi-definite.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"lens", NULL, NULL, "name of the lens; the profiles of one job have different names"},
            {"model", NULL, NULL,
             "`brown5`: a pinhole with radial distortion k1, k2, k3 and tangential p1, p2, as in "
             "OpenCV's model of five coefficients"},
            {"image_px", "pixels", NULL, "[width, height] of the photos, as they are stored"},
            {"fx_px", "pixels", NULL, "focal length along the rows"},
            {"fy_px", "pixels", NULL, "focal length along the columns"},
            {"cx_px", "pixels", NULL, "principal point: column"},
            {"cy_px", "pixels", NULL, "principal point: row"},
            {"distortion", "1", NULL, "[k1, k2, p1, p2, k3]"},
            {"covariance", "pixels^2, pixels, 1", "[], the lens is taken as exact, with a warning",
             "how well the nine parameters are known, in the order fx fy cx cy k1 k2 p1 p2 k3: 9 "
             "rows of 9 numbers, or all 81 in one list"},
            {"camera", NULL, "not compared",
             "the camera as EXIF data name it. A photo of another camera is not used; likewise for "
             "the four keys below"},
            {"focal_length_mm", "mm", "not compared", "the focal length that EXIF data give"},
            {"equivalent_focal_length_mm", "mm", "not compared",
             "the one with the same angle of view on 35 mm film"},
            {"digital_zoom", "1", "not compared", "1 where there is none"},
            {"camera_lens", NULL, "not compared", "the camera's name of the lens"},
            {"steady", NULL, "false",
             "`true` or `false`: `true` for a machine camera, which is the same in every photo"},
            {"scatter", NULL, "found from the job's own photos",
             "how the camera changes from photo to photo; never beside `steady: true`. Each of its "
             "keys is [standard deviation, degrees of freedom]"},
            {"scatter.shift_px", "pixels", "found from the job's own photos",
             "shift of the principal point"},
            {"scatter.focal_percent", "%", "found from the job's own photos",
             "change of the focal length"},
            {"scatter.turn_deg", "degrees", "found from the job's own photos",
             "turn of the camera while one photo is read out"},
            {"scatter.travel_mm", "mm", "found from the job's own photos",
             "travel of the camera while one photo is read out"},
            {"board", NULL, "`trammel lens-check` is told",
             "the checkerboard that the lens was calibrated with"},
            {"board.squares", NULL, NULL,
             "columns x rows, as in `10x7`: squares, not the corners between them"},
            {"board.pitch_mm", "mm", NULL, "edge of a square"},
            {"calibrated", NULL, "not known",
             "the day of the last photo that the lens was made from, as in `2026-03-02`"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples =
        (const tr_help_example[]){
            {"lens/bay-2-tablet.yaml",
             "lens: bay-2-tablet\n"
             "model: brown5\n"
             "image_px: [4032, 3024]\n"
             "fx_px: 3012.4\n"
             "fy_px: 3011.8\n"
             "cx_px: 2010.1\n"
             "cy_px: 1512.7\n"
             "distortion: [0.0831, -0.2105, 0.0004, -0.0002, 0.1377]    # k1 k2 p1 p2 k3\n"
             "covariance: []\n"
             "camera: Example Tablet 3\n"
             "focal_length_mm: 5.43\n"
             "equivalent_focal_length_mm: 26\n"
             "digital_zoom: 1\n"
             "camera_lens: back camera 5.43mm\n"
             "board: {squares: 10x7, pitch_mm: 30}\n"
             "calibrated: 2026-03-02\n"
             "scatter:\n"
             "  shift_px: [6.3, 24]\n"
             "  focal_percent: [0.13, 11]\n"
             "  turn_deg: [0.031, 30]\n"
             "  travel_mm: [0.4, 8]\n"},
            {"lens/bay-2-spare.yaml", "lens: bay-2-spare\n"
                                      "model: brown5\n"
                                      "image_px: [2448, 2048]\n"
                                      "fx_px: 2405.2\n"
                                      "fy_px: 2405.0\n"
                                      "cx_px: 1220.4\n"
                                      "cy_px: 1026.9\n"
                                      "distortion: [-0.1042, 0.0921, 0, 0, 0]\n"
                                      "steady: true              # a machine camera\n"},
            {0}},
    .see = (const char *const[]){"lens", "job", NULL},
};
