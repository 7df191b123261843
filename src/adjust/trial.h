/* One cause at a time of why the marks contradict each other: the network solved as if it were so.
   Private to adjust. */
#ifndef TR_ADJUST_TRIAL_H
#define TR_ADJUST_TRIAL_H

#include "adjust/adjust.h"

/* One cause tried: how well the network fits with it, and what it says. */
typedef struct {
    bool is_solved;
    double cost;
    int degrees_of_freedom;
    double change[2];     /* relative: of the focal lengths; of the print's width and height */
    double sd[2];         /* of those, scaled by the residuals ... */
    double difference_sd; /* ... and of one less the other */
} tr_trial;

/* Each begins at base, a copy of the network (tr_network_copy), and leaves the network so. That a
   cause does not lead to a solution says that it is not the one (is_solved false). Only memory that
   ran out is a failure (err is then set): a cause that was not tried is no cause ruled out. */

/* The photos themselves say what the focal lengths of one lens are. */
tr_trial tr_try_lens(tr_network *net, const tr_network *base, int number, const tr_lens *profile,
                     tr_error *err);

/* The camera is not steady, though its profile says so: what it would scatter by, rms over the
   photos, of each kind (lens/lens.h). */
tr_trial tr_try_unsteady(tr_network *net, const tr_network *base, int number,
                         double scatter[TR_SCATTER_N], tr_error *err);

/* The sheet's print is wider or higher than its file says. */
tr_trial tr_try_scale(tr_network *net, const tr_network *base, int sheet, tr_error *err);

/* Without the sheet. */
tr_trial tr_try_without(tr_network *net, const tr_network *base, int sheet, tr_error *err);

/* The sheet lay at another place in the photos of the group: those get a sheet of their own, in the
   slot that the network keeps free behind the job's sheets. *away_mm: how far from the first. Where
   only one side shows enough of it, nothing is tried. */
tr_trial tr_try_moved(tr_network *net, const tr_network *base, int sheet, const bool *in_group,
                      double *away_mm, tr_error *err);

#endif
