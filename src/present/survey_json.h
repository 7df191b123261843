/* clang-format off */
/* A survey as one JSON object:
     {"survey", "measured": true | false, "error": null | {...},
      "sheets": [{"sheet", "file", "aligned", "scale_x": {"measured", "u95"}, "scale_y",
                  "flatness_mm": {"measured", "u95"},
                  "marks": [{"mark", "kind", "photos", "measured", "datum",
                             "nominal_mm": [x, y] | null, "centre_mm": [x, y] | null,
                             "difference_mm", "u95_mm": [x, y],
                             and of a tag "turn_deg", "turn_u95_deg", "edges_mm", "edges_u95_mm"}]}],
      "lengths": [{"length", "used", "stated_mm", "sd_mm", "measured_mm", "w"}],
      "scale_sd", "photos", "warnings", "left_out", "variance_factor", "degrees_of_freedom",
      "program"} */
/* clang-format on */
#ifndef TR_PRESENT_SURVEY_JSON_H
#define TR_PRESENT_SURVEY_JSON_H

#include <jansson.h>

#include "survey/survey.h"

/* A new reference, NULL when memory ran out. files: where each sheet was written to, or NULL; also
   where it failed after that. files itself may be NULL.
   v may be NULL where not even its file could be read. why: not TR_OK where nothing was
   measured. */
json_t *tr_survey_json(const tr_survey *v, char *const *files, const tr_error *why);

#endif
