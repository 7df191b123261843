/* The result of a check: everything of it that is shown. It owns all that it holds and borrows
   nothing, so that it outlives the check, its job and its photos.

   The vehicle frame here has its origin under the middle of the rear axle, whatever axle a
   placement names. Lengths are mm, angles rad. */
#ifndef TR_CHECK_RESULT_H
#define TR_CHECK_RESULT_H

#include "base/error.h"
#include "base/finding.h"
#include "check/identity.h"
#include "diagnose/sheet_condition.h"
#include "geom/geom.h"
#include "job/job.h"
#include "photos/photo_result.h"
#include "vehicle/floor.h"
#include "vehicle/vehicle.h"
#include "verdict/verdict.h"

/* A sheet of the job as the network found it. */
typedef struct {
    char id[64], title[128];
    tr_sheet_kind kind;
    double width_mm, height_mm;
    bool is_surveyed; /* the places of its marks were measured */
    bool is_placed;
    int n_photos, n_marks;
    tr_pose vehicle_from_sheet; /* where is_placed */
    tr_sheet_condition condition;
    bool is_flat_judged; /* it is required somewhere, and its flatness was measured */
    tr_verdict flatness_verdict;
} tr_sheet_result;

/* By what a target was measured. */
typedef enum { TR_BY_TAGS, TR_BY_ARTWORK, TR_BY_POINTERS } tr_measured_by;

/* A placement of the layout. */
typedef struct {
    int sheet;         /* index into the result's */
    tr_origin from[3]; /* of x, y and z */
    tr_measured_by by; /* where it was measured */
    tr_verdict verdict;
    tr_axis_result axis[TR_N_AXES];
    bool is_to_move;               /* it did not pass, and where it is can be relied on */
    tr_pose vehicle_from_required; /* where the sheet should lie */
    int photo;                     /* that shows it best; -1: none does */
    int floor_place; /* the floor on which it lies or stands: of result->floor; -1: not measured */
} tr_target_result;

/* A relation of two targets: the second less the first. */
typedef struct {
    int targets[2]; /* indices into the result's */
    tr_verdict verdict;
    tr_axis_result axis[TR_N_AXES];
} tr_relation_result;

/* A free area of the layout. */
typedef struct {
    char name[64];
    tr_origin from[3]; /* of x and y */
    double height_mm;
    bool
        is_placed; /* what it counts from was measured; else it is where stated lengths have that */
    tr_vec2 *corners_mm; /* on the floor, z = 0; owned */
    int n_corners;
} tr_free_area_result;

/* A sheet that marks a point of the vehicle. */
typedef struct {
    tr_wheel_point point; /* TR_N_POINTS: a point with a name of its own */
    char name[64];        /* "rear-left", or its own */
    int sheet;            /* index into the result's */
    bool is_placed;
    bool is_hub;   /* it hangs on the wheel */
    tr_vec3 at_mm; /* the point; of a wheel with a plate z = 0; where is_placed */
} tr_plate_result;

/* mm or rad; nothing where it is not measured. */
typedef struct {
    bool is_measured;
    double value, u95;
} tr_quantity;

/* One value of the floor. */
typedef struct {
    tr_quantity value;
    bool is_judged;
    tr_verdict verdict; /* where is_judged */
} tr_floor_judged;

/* The floor under one sheet. */
typedef struct {
    int sheet; /* index into the result's */
    bool is_at_wheel;
    tr_floor_judged value[TR_FLOOR_N];
} tr_floor_place;

typedef struct {
    tr_floor_place *places; /* NULL: there is no frame to measure it in */
    int n_places;
    tr_floor_judged whole[TR_FLOOR_WHOLE_N];
    tr_stand stand; /* what tells its plane */
    bool is_judged; /* the layout has limits, which are these: */
    double limit[TR_N_FLOOR_LIMITS];
    tr_verdict verdict; /* where is_judged */
    bool has_level;     /* the job has a level's reading: */
    char level_on[64];  /* "stand", or the sheet */
    double level_rad[2], level_sd_rad;
} tr_floor_result;

/* There is something to show of it: it was measured, or is judged. */
bool tr_floor_is_told(const tr_floor_result *floor);
/* Where the wheels stand is known, and with it all slopes. */
bool tr_floor_has_stand(const tr_floor_result *floor);

/* The limit that a value is judged by; TR_N_FLOOR_LIMITS: by none. */
tr_floor_limit tr_floor_limit_of(tr_floor_value value);
tr_floor_limit tr_floor_limit_of_whole(tr_floor_whole value);

/* The place that is worst out of flat: one that is no pass before one that is, then by size. -1:
   none is judged. */
int tr_floor_worst_place(const tr_floor_result *floor);

typedef enum { TR_CONFIRMED, TR_NOT_CONFIRMED, TR_NOT_DONE } tr_precondition_state;

/* A precondition of the layout, and what the job says of it. */
typedef struct {
    char id[64], text[128];
    bool is_required;
    tr_precondition_state state;
    char by[64], at[TR_LOCAL_TIME_SIZE], reason[128]; /* "" where it is not told */
} tr_precondition_result;

/* A length between wheel points. */
typedef struct {
    bool is_measured;
    double measured_mm, u95_mm;
    double stated_mm; /* by the layout; 0 where it does not say */
} tr_length_result;

/* All zero: of a check whose job could not be read. */
typedef struct {
    bool has_job;
    char job[64], layout[64], vehicle[128], vehicle_id[64], technician[64];
    tr_identity identity; /* what codes in photos say */
    tr_error why;         /* there is no measurement; TR_OK where there is */
    tr_verdict verdict;
    tr_target_result *targets;       /* one a placement of the layout */
    tr_sheet_result *sheets;         /* one a sheet of the job */
    tr_relation_result *relations;   /* one a relation of the layout */
    tr_free_area_result *free_areas; /* one a free area of the layout */
    tr_plate_result *plates;         /* one a reference of the job */
    tr_photo_result *photos;         /* in the order given */
    int *order;                      /* indices of the photos, sorted by name */
    int n_targets, n_relations, n_free_areas, n_sheets, n_plates, n_photos;
    tr_length_result wheelbase, track_front, track_rear;
    bool has_wheels; /* sheets hang on wheels: directions of wheels were measured */
    tr_quantity geometry[TR_N_VEHICLE_VALUES]; /* where has_wheels; angles rad */
    double thrust_limit_rad;                   /* by the layout; 0: not judged */
    tr_floor_result floor;
    double flatness_mm;         /* that the layout allows a required sheet */
    double reference_sd_mm;     /* how well plates sit on their plumb marks, as the job says */
    bool has_lenses;            /* the job has several */
    bool is_camera_steady;      /* all their profiles say so */
    bool is_lens_unknown;       /* the job's lens was found from its photos: */
    double focal_px, focal_u95; /* expanded, relative */
    double variance_factor;     /* of all marks that were found, those left out included */
    int degrees_of_freedom;
    int n_rejected; /* points of marks that contradict the others, and take no part */
    tr_findings findings;
    tr_precondition_result *preconditions; /* of the layout */
    int n_preconditions;
} tr_check_result;

void tr_check_result_release(tr_check_result *result);

/* The target that a person looks at first: the first one of the worst verdict. -1: there is none.
 */
int tr_check_worst_target(const tr_check_result *result);

#endif
