/* Trials: the network solved as if one hypothesis held. Private to diagnose. */
#ifndef TR_DIAGNOSE_TRIAL_H
#define TR_DIAGNOSE_TRIAL_H

#include "adjust/adjust.h"

/* How well the network fits, and what it then says; what a trial does not ask is 0. */
typedef struct {
    bool is_solved;
    double cost;
    int degrees_of_freedom;
    double change[2];     /* relative: of the focal lengths; of the print's width and height */
    double sd[2];         /* of those, scaled by the residuals ... */
    double difference_sd; /* ... and of one less the other */
    double scatter[TR_SCATTER_N]; /* of a camera, rms over its photos (lens/lens.h) */
    double away_mm;               /* of a sheet: how far its second place is from its first */
} tr_trial;

/* Each begins at base, a copy of the network (tr_network_copy), and leaves the network so. A trial
   that has no solution speaks against its hypothesis (is_solved false). Only memory that ran out is
   a failure (err is then set): an untried hypothesis is not excluded. */

/* The photos themselves say what the focal lengths of one lens are. */
tr_trial tr_trial_lens(tr_network *net, const tr_network *base, int number, const tr_lens *profile,
                       tr_error *err);

/* The camera is not steady, though its profile says so. */
tr_trial tr_trial_unsteady(tr_network *net, const tr_network *base, int number, tr_error *err);

/* The sheet's print is wider or higher than its file says. */
tr_trial tr_trial_scale(tr_network *net, const tr_network *base, int sheet, tr_error *err);

/* Without the sheet. */
tr_trial tr_trial_without(tr_network *net, const tr_network *base, int sheet, tr_error *err);

/* The sheet lay at another place from the first photo to the last: those get a sheet of their own,
   in the slot that the network keeps free behind the job's sheets. Where only one side shows enough
   of it, nothing is tried. */
tr_trial tr_trial_moved(tr_network *net, const tr_network *base, int sheet, int first_photo,
                        int last_photo, tr_error *err);

#endif
