#include <stddef.h>

#include "help/pages.h"
#include "help/result_keys.h"

const tr_help_format tr_help_recheck_result = {
    .name = "lens-check-result",
    .summary = "what trammel lens-check --json prints",
    .is_result = true,
    .intro =
        (const char *const[]){
            "One JSON object in one line. If nothing could be measured it has `error` in place of "
            "`verdict` and of all that was measured; with fewer than three photos to use, the "
            "verdict is "
            "`not enough` and nothing was measured.",
            NULL},
    .keys =
        (const tr_help_key[]){
            {"lens", NULL, NULL, "name of the lens"},
            {"profile", NULL, NULL, "the profile's file, as it was named"},
            {"calibrated", NULL, NULL, "the day of its calibration, as the profile says, or null"},
            {"board", NULL, NULL, "the checkerboard"},
            {"board.squares", NULL, NULL, "columns x rows, as in `10x7`"},
            {"board.pitch_mm", "mm", NULL, "edge of a square"},
            {"error", NULL, NULL, "only where nothing could be measured: why"},
            TR_HELP_KEYS_OF_ERROR,
            {"verdict", NULL, NULL, "`agrees`, `differs` or `not enough`"},
            {"taken", NULL, NULL,
             "when the newest photo used was taken, as it says itself (`2026-03-02 10:15:00`), or "
             "null"},
            {"rms_px", "pixels", NULL,
             "distance of a corner from where the lens of these photos puts it, root of the mean "
             "square"},
            {"sigma_px", "pixels", NULL, "standard deviation of one coordinate of a corner"},
            {"degrees_of_freedom", NULL, NULL, "observations less unknowns"},
            {"focal_length", NULL, NULL, "the focal length, fx and fy as one"},
            {"focal_length.stored_px", "pixels", NULL, "in the profile"},
            {"focal_length.measured_px", "pixels", NULL, "in these photos"},
            {"focal_length.difference_percent", "%", NULL, "the latter, less the former"},
            {"focal_length.sd_percent", "%", NULL,
             "standard deviation of that, of profile and photos together"},
            {"focal_length.deviations", "1", NULL, "the difference in these standard deviations"},
            {"focal_length.told_percent", "%", NULL,
             "a difference of this size would have shown in nine of ten such checks"},
            {"focal_length.chance", "1", NULL, "probability that chance alone makes as much"},
            {"others", NULL, NULL, "principal point, fx / fy and distortion, together"},
            {"others.chi2", "1", NULL, "their difference from the profile within its covariance"},
            {"others.degrees_of_freedom", NULL, NULL, "how many of them the photos tell"},
            {"others.chance", "1", NULL, "as above"},
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
            {"advice", NULL, NULL, "why the verdict is not `agrees`, and what to do"},
            {"advice[].code", NULL, NULL, "one word for programs; it does not change"},
            {"advice[].text", NULL, NULL, "one or more sentences for people"},
            {0}},
    .sections = (const tr_help_section[]){{0}},
    .examples = (const tr_help_example[]){{0}},
    .see = (const char *const[]){"lens-check", "lens-profile", NULL},
};
