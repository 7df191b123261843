/* clang-format off */
/* A lens calibration as one JSON object, "Result of lens --json" of the formats that are fixed, and
   more:
     {"lens", "image_px": [w, h], "fx_px", "fy_px", "cx_px", "cy_px", "distortion": [5], "sd": [9],
      "rms_px",
      "photos": [{"file", "used", "corners", "rms_px", "largest_px", "missing", "blur_px",
                  "tilt_deg", "sha256", "reason"}],
      "sigma_px", "degrees_of_freedom", "bow_mm": [2], "bow_sd_mm": [2], "rms_steady_px",
      "scatter": {"steady", and by kind [standard deviation, degrees of freedom] | null},
      "camera": {"name", "focal_length_mm", "equivalent_focal_length_mm", "digital_zoom"},
      "profile", "advice": [{"code", "text"}]}
   Where there is no lens: {"lens", "error": {...}, "photos", "advice"}. */
/* clang-format on */
#ifndef TR_PRESENT_LENS_JSON_H
#define TR_PRESENT_LENS_JSON_H

#include <jansson.h>

#include "calib/lens_run.h"

/* A new reference, NULL when memory ran out. id: the lens's name; file: where its profile was
   written to. why: NULL, or why there is no lens. */
json_t *tr_lens_json(const tr_lens_run *run, const char *id, const char *file, const tr_error *why);

/* "photos" and "advice", for a re-check, too. */
json_t *tr_lens_photos_json(const tr_lens_run *run, bool has_lens);
json_t *tr_lens_advice_json(const tr_findings *advice);

#endif
