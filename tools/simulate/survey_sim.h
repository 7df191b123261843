/* Surveys simulated at the level of marks, with the truth. A mat lies on a floor with its marks not
   quite where its file has them, one or two scale bars beside it; photos are taken around it. For
   campaigns (tools/campaign) and tests. */
#ifndef TR_TOOLS_SURVEY_SIM_H
#define TR_TOOLS_SURVEY_SIM_H

#include "survey/survey.h"
#include "tools/simulate/simulate.h"

enum {
    TR_SURVEY_SIM_TAGS = 8,
    TR_SURVEY_SIM_CORNERS = 8,
    TR_SURVEY_SIM_MARKS = 16,
    TR_SURVEY_SIM_MAX_PHOTOS = 24,
    TR_SURVEY_SIM_MAX_BARS = 3
};

/* All zero with a seed: an exact survey of 8 photos with one bar. */
typedef struct {
    uint64_t seed;
    int n_photos;              /* 0: 8 */
    double image_part;         /* photos smaller than 4032 x 3024 by this factor; 0: 1 */
    double noise;              /* marks' noise as a multiple of their stated sd; 1 is honest */
    bool is_steady;            /* the profile says that the camera does not scatter */
    double misplaced_mm;       /* tags lie up to this far from their place, along x and y */
    double print_scale[2];     /* the print's, relative */
    double height_sd_mm;       /* of each mark over the plane */
    int n_stuck;               /* the last tags are stuck by hand: the file does not have them */
    int n_bars;                /* 0: 1 */
    double bar_sd_mm;          /* stated, and drawn; 0: 0.05, and not drawn */
    double bar_factor[3];      /* a bar's true length over the stated one; 0: 1 */
    bool draws_lens;           /* the true lens is drawn from the profile's covariance */
    bool has_rule, has_no_bar; /* the printed rule, with sd 0.1 mm, drawn where bar_sd_mm is set */
    bool is_bar_hidden;        /* one tag of each bar is in no photo */
    int moved_tag;             /* 1 + a tag that is moved ... */
    double moved_mm;           /* ... by this along x, in the second half of the photos */
    tr_sim_phone phone;        /* the floor does not matter here */
} tr_survey_sim_options;

typedef struct {
    tr_survey_spec spec;
    tr_survey survey; /* photos with marks, ready for tr_survey_solve */
    /* The truth in the print's frame; tags first, then corners. */
    tr_vec2 at_mm[TR_SURVEY_SIM_MARKS];
    double turn_rad[TR_SURVEY_SIM_TAGS];
    double edges_mm[TR_SURVEY_SIM_TAGS][2];
    double height_mm[TR_SURVEY_SIM_MARKS];       /* with the mat's relief */
    tr_mark_name corners[TR_SURVEY_SIM_CORNERS]; /* names of all corners, to align by */
    /* The scene, for those who render it; the vehicle frame is the print's. */
    tr_lens true_lens;
    tr_sim_exposure exposures[TR_SURVEY_SIM_MAX_PHOTOS];
    tr_relief relief; /* of the mat */
    tr_pose vehicle_from_camera[TR_SURVEY_SIM_MAX_PHOTOS];
    double bar_mm[TR_SURVEY_SIM_MAX_BARS];
} tr_survey_sim;

/* How a bar lies: its tags stand upright at the ends of this line. */
tr_vec3 tr_survey_sim_bar_centre(int bar);
double tr_survey_sim_bar_tag_mm(void);

/* survey refers to spec: *out must not be moved. */
TR_MUST_USE bool tr_simulate_survey(const tr_survey_sim_options *options, tr_survey_sim *out,
                                    tr_error *err);
void tr_survey_sim_release(tr_survey_sim *sim);

#endif
