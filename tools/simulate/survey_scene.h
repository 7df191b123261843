/* A simulated survey as a user would have it: photos rendered, and the files beside them. For tests
   and tools/bench. */
#ifndef TR_TOOLS_SURVEY_SCENE_H
#define TR_TOOLS_SURVEY_SCENE_H

#include "tools/simulate/survey_sim.h"

/* Into a folder that is there: lens.yaml, mat.yaml (nominal), survey.yaml, 01.jpg and so on. sim:
   as tr_simulate_survey left it. is_steep: the tone curve and sharpening of a phone. */
TR_MUST_USE bool tr_survey_scene_write(const tr_survey_sim *sim, const char *folder, bool is_steep,
                                       long n_threads, tr_error *err);

#endif
