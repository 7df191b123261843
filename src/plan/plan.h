/* What a check will be worth, before its photos are taken: u95 of every target for given stations;
   stations that make it small enough; and, where photos are there already, the station from which
   one more would help most.

   A plan is a check whose photos are planned ones (see.h), evaluated as any other
   (tr_check_evaluate). So it knows all that a check knows of the lens, the prints, the plates and
   the camera's scatter, but nothing of what may be wrong on the day. */
#ifndef TR_PLAN_PLAN_H
#define TR_PLAN_PLAN_H

#include "base/parallel.h"
#include "check/check.h"
#include "plan/see.h"

/* A plan is good where u95 of every judged axis is at most this part of its limit: then a sheet
   that is off by up to two thirds of the limit still passes. */
#define TR_PLAN_AIM (1 / 3.0)

/* A proposal has at most so many stations in a roll position, and in all. */
enum {
    TR_PLAN_MOST_STATIONS = 12,
    TR_PLAN_ALL_STATIONS = TR_PLAN_MOST_STATIONS * TR_MAX_POSITIONS
};

typedef struct {
    tr_station station;
    tr_sheet_set sees; /* the sheets of which marks will be measured */
    int n_marks;
} tr_planned_photo;

/* Where it is least good: the judged axis whose u95 is the largest part of its limit. */
typedef struct {
    int target;   /* -1: no axis is judged; of a relation its second target */
    int relation; /* -1: it is an axis of the target itself */
    tr_axis axis;
    bool is_measured;
    double share; /* u95 / limit, where is_measured */
} tr_plan_worst;

/* All zero is a valid empty one. */
typedef struct {
    tr_planned_photo *photos; /* owned */
    int n_photos;
    int n_positions; /* roll positions of the job; 1: the vehicle is not rolled */
    /* As a check of these photos (and of those of the job, in tr_plan_further) would have it, each
       sheet lying where it is expected. result.why tells where it would have no measurement. */
    tr_check_result result;
    tr_plan_worst worst;
    bool reaches_aim;
} tr_plan;

/* What photos from n stations would give. *out is to be released in any case. False: memory ran
 * out.
 */
TR_MUST_USE bool tr_plan_predict(const tr_plan_scene *scene, const tr_station *stations, int n,
                                 tr_plan *out, tr_error *err);

/* The same, in addition to the photos of a check that were measured. */
TR_MUST_USE bool tr_plan_predict_after(const tr_plan_scene *scene, const tr_check *check,
                                       const tr_station *stations, int n, tr_plan *out,
                                       tr_error *err);

/* A check whose photos are those of the first that were used, but with marks exactly where the
   scene has them: to try many stations with. Nothing contradicts anything in it, so that it is
   evaluated in a tenth of the time. out is to be released in any case. False: memory ran out. */
TR_MUST_USE bool tr_plan_idealised(const tr_plan_scene *scene, const tr_check *check, tr_check *out,
                                   tr_error *err);

/* Few stations that reach the aim, or as nearly as more of them would help: chosen one after the
   other among places on a grid around vehicle and sheets, where someone can stand, then those left
   out again without which it is as good. The same input gives the same stations. Each needed sheet
   is in at least two photos, where that can be; one that rolls with the vehicle is so in each
   position, and the stations stand in the order of positions. They count on nothing but what is
   measured well. Errors as above. */
TR_MUST_USE bool tr_plan_propose(const tr_plan_scene *scene, const tr_workers *workers,
                                 tr_plan *out, tr_error *err);

/* The station from which one more photo would help most after a check, where the vehicle stands
   now: in the last position. It is chosen in the same way; what it gives is said with all that can
   be measured in it. out has no photo where none would help. */
TR_MUST_USE bool tr_plan_further(const tr_plan_scene *scene, const tr_check *check,
                                 const tr_workers *workers, tr_plan *out, tr_error *err);

/* The result of the worst axis; NULL where none is judged. Here, so that who draws a plan does not
   load what makes it. */
static inline const tr_axis_result *tr_plan_worst_axis(const tr_plan *plan) {
    const tr_plan_worst *w = &plan->worst;
    if (w->target < 0) return NULL;
    return w->relation >= 0 ? &plan->result.relations[w->relation].axis[w->axis]
                            : &plan->result.targets[w->target].axis[w->axis];
}

void tr_plan_release(tr_plan *plan);

#endif
