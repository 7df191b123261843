/* Where everything of a job stands before it is measured: each sheet at its expected place in the
   vehicle frame (origin under the middle of the rear axle), and the body that hides what lies
   behind it. */
#ifndef TR_PLAN_SCENE_H
#define TR_PLAN_SCENE_H

#include "base/error.h"
#include "check/result.h"
#include "job/job.h"

/* Upright, along the axes of the vehicle frame. */
typedef struct {
    tr_vec3 low_mm, high_mm;
} tr_plan_box;

/* The body as a whole, down to the bumpers' lower edges; and what is lower, from wheel to wheel. */
enum { TR_PLAN_WHOLE, TR_PLAN_SILLS, TR_PLAN_N_BODY };

typedef struct {
    const tr_job *job; /* borrowed */
    bool *is_there;    /* of each sheet: its place is known. The others are not planned for. */
    tr_pose *vehicle_from_sheet;
    int *n_cells; /* of its family's tags, along an edge of the square of their corners */
    tr_plan_box body[TR_PLAN_N_BODY];
    int n_body; /* 0: there is none */
    /* Marks whose cells are lower in the picture, or of sheets that are seen more flatly, are not
       counted on. */
    double least_cell_px, least_elevation_rad;
} tr_plan_scene;

/* A job has at most so many sheets. */
enum { TR_PLAN_MAX_SHEETS = 64 };

/* What can still be measured, and what is measured well: a photo with less is weak
   (photos/quality.h). */
#define TR_PLAN_CELL_PX 1.5
#define TR_PLAN_GOOD_CELL_PX 3.0
#define TR_PLAN_GOOD_ELEVATION_RAD (12 * TR_RAD_PER_DEG)

/* Every sheet at its expected place: one that is placed where the layout requires it, one that
   marks a wheel's point there, as far as the layout's wheelbase and tracks tell, with the place
   that lies on the point turned to the wheel. *out is to be released in any case. False: the layout
   does not say what is needed (err names the key), the lens is unknown, or memory ran out.
   What can still be measured is counted on. */
TR_MUST_USE bool tr_plan_scene_init(const tr_job *job, tr_plan_scene *out, tr_error *err);

/* Every sheet that a check measured stays where it was measured; the others as they were. */
void tr_plan_scene_measured(tr_plan_scene *scene, const tr_check_result *result);

void tr_plan_scene_release(tr_plan_scene *scene);

/* Roll positions in which photos are taken; 1 where the vehicle is not rolled. */
static inline int tr_plan_positions(const tr_plan_scene *scene) {
    return scene->job->n_positions > 1 ? scene->job->n_positions : 1;
}

/* The scene as it is in a roll position (from 0; of a job without any, the scene itself), in the
   vehicle frame of the last one. In those before, the vehicle stands farther back by as many
   quarter turns of its wheels, and the sheets on its wheels are turned back by as much. What is
   borrowed are the scene's arrays and `places`, room for the sheets' poses. */
tr_plan_scene tr_plan_scene_in(const tr_plan_scene *scene, int position,
                               tr_pose places[TR_PLAN_MAX_SHEETS]);

/* Whether the body, or a sheet that stands upright, lies between a camera and a place. */
bool tr_plan_is_hidden(const tr_plan_scene *scene, tr_vec3 camera_mm, tr_vec3 p_mm);

/* Whether someone could stand there: outside of the body, and on no sheet. */
bool tr_plan_is_reachable(const tr_plan_scene *scene, tr_vec2 p_mm);

#endif
