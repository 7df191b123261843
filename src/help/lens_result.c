#include <stddef.h>

#include "help/pages.h"
#include "help/result_keys.h"

const tr_help_format tr_help_lens_result = {
    .name = "lens-result",
    .summary = "what trammel lens --json prints",
    .is_result = true,
    .intro =
        (const char *const[]){
            "One JSON object in one line. If there is no lens it has `lens`, `error`, `photos` and "
            "`advice` alone.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"lens", NULL, NULL, "name of the lens"},
            {"error", NULL, NULL, "only where there is no lens: why"},
            TR_HELP_KEYS_OF_ERROR,
            {"image_px", "pixels", NULL, "[width, height] of the photos"},
            {"fx_px", "pixels", NULL, "focal length along the rows"},
            {"fy_px", "pixels", NULL, "focal length along the columns"},
            {"cx_px", "pixels", NULL, "principal point: column"},
            {"cy_px", "pixels", NULL, "principal point: row"},
            {"distortion", "1", NULL, "[k1, k2, p1, p2, k3]"},
            {"sd", "pixels, 1", NULL,
             "standard deviations of fx, fy, cx, cy, k1, k2, p1, p2, k3, in this order"},
            {"rms_px", "pixels", NULL,
             "distance of a corner from where the lens puts it, root of the mean square"},
            {"photos", NULL, NULL, "all photos, in the order given"},
            {"photos[].file", NULL, NULL, "as it was named"},
            {"photos[].used", NULL, NULL, "whether it takes part"},
            {"photos[].corners", NULL, NULL, "how many corners of the checkerboard were measured"},
            {"photos[].rms_px", "pixels", NULL, "as above, of this photo; null if it is not used"},
            {"photos[].largest_px", "pixels", NULL, "the largest such distance, or null"},
            {"photos[].missing", NULL, NULL, "corners in view that could not be measured"},
            {"photos[].blur_px", "pixels", NULL, "blur of its corners: one standard deviation"},
            {"photos[].tilt_deg", "degrees", NULL,
             "tilt of the checkerboard from the image plane; null if the photo is not used"},
            {"photos[].sha256", NULL, NULL,
             "of the file's bytes, in hexadecimal; null if unreadable"},
            {"photos[].reason", NULL, NULL, "why it is not used, or null"},
            {"sigma_px", "pixels", NULL, "standard deviation of one coordinate of a corner"},
            {"degrees_of_freedom", NULL, NULL, "observations less unknowns"},
            {"bow_mm", "mm", NULL,
             "how far the checkerboard's middle stands out, [along, across]; 0 where it was not "
             "estimated"},
            {"bow_sd_mm", "mm", NULL, "standard deviations of that"},
            {"rms_steady_px", "pixels", NULL,
             "what `rms_px` is if the camera is one and the same in all photos and the "
             "checkerboard true"},
            {"scatter", NULL, NULL,
             "what the camera changes from photo to photo: each key but `steady` is [standard "
             "deviation, degrees of freedom], or null where the photos do not tell"},
            {"scatter.steady", NULL, NULL, "whether `--steady` was given"},
            {"scatter.shift_px", "pixels", NULL, "shift of the principal point"},
            {"scatter.focal_percent", "%", NULL, "change of the focal length"},
            {"scatter.turn_deg", "degrees", NULL, "turn while one photo is read out"},
            {"scatter.travel_mm", "mm", NULL, "travel while one photo is read out"},
            {"camera", NULL, NULL, "what the photos' EXIF data say"},
            {"camera.name", NULL, NULL, "make and model, or null"},
            {"camera.focal_length_mm", "mm", NULL, "the focal length, or null"},
            {"camera.equivalent_focal_length_mm", "mm", NULL,
             "the one with the same angle of view on 35 mm film, or null"},
            {"camera.digital_zoom", "1", NULL, "1 where there is none, or null"},
            {"profile", NULL, NULL, "the file that was written"},
            {"advice", NULL, NULL, "what would make the lens better known"},
            {"advice[].code", NULL, NULL, "one word for programs; it does not change"},
            {"advice[].text", NULL, NULL, "one or more sentences for people"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples = (const tr_help_example[]){{0}},
    .see = (const char *const[]){"lens", "lens-profile", NULL},
};
