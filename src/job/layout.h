/* What a procedure requires: which sheets, where, within which limits. The file's format:
   help/layout.c, which is trammel-layout(5). */
#ifndef TR_JOB_LAYOUT_H
#define TR_JOB_LAYOUT_H

#include "base/error.h"
#include "geom/geom.h"
#include "job/preconditions.h"
#include "job/usual.h"

/* The six axes of a placement in the vehicle frame (ISO 8855 directions): mm and rad. */
typedef enum { TR_X, TR_Y, TR_Z, TR_YAW, TR_PITCH, TR_ROLL, TR_N_AXES } tr_axis;

/* "x_mm", "y_mm", "z_mm", "yaw_deg", "pitch_deg", "roll_deg": the contract's keys. */
const char *tr_axis_key(tr_axis axis);
bool tr_axis_is_angle(tr_axis axis);

typedef enum { TR_AXES_CENTRELINE, TR_AXES_REAR_AXLE, TR_AXES_THRUST } tr_axes;

/* What a coordinate of a placement counts from. The origin of an axle lies on the floor under its
   middle, so that a height from an axle is that over the floor. */
typedef enum {
    TR_FROM_REAR_AXLE,
    TR_FROM_FRONT_AXLE,
    TR_FROM_POINT, /* of the vehicle, that a reference of the job marks */
    TR_FROM_SHEET  /* the centre of another sheet of the job */
} tr_origin_kind;

typedef struct {
    tr_origin_kind kind;
    char name[64]; /* of the point or the sheet */
    int index;     /* its index among the job's references or sheets: tr_job_read sets it */
} tr_origin;

/* "front-axle", "rear-axle", or its name. Valid as long as the origin. */
const char *tr_origin_name(const tr_origin *origin);
/* The same place. */
bool tr_origin_is(const tr_origin *a, const tr_origin *b);

typedef struct {
    bool is_required; /* the layout gives a required value */
    bool is_judged;   /* the layout gives a limit; implies is_required */
    double required;  /* mm or rad */
    double limit;     /* mm or rad, above 0: required value +- limit */
} tr_requirement;

typedef struct {
    char sheet[64];                 /* id of the sheet */
    tr_origin from[3];              /* of x, y and z */
    tr_requirement axis[TR_N_AXES]; /* x, y and yaw are always required */
    /* How far from its place a sheet without tags is sought by its artwork: along x and y, and
       turned. 0: it is not. */
    double within_mm, within_rad;
    int within_line;
    int line, from_line;       /* in the layout file, for messages */
    int limit_line[TR_N_AXES]; /* of each limit, 0 where there is none */
} tr_placement;

/* A relation of two placed sheets: where the second is less where the first is, along the axes of
   the vehicle frame. */
typedef struct {
    char sheets[2][64];
    tr_requirement axis[TR_N_AXES];
    int line;
} tr_relation;

/* A part of the floor that has to be clear of other objects (job/free_area.h). */
typedef struct {
    char name[64];       /* "free area 1" where the file gives none */
    tr_origin from[3];   /* of x and y; it stands on the floor */
    double height_mm;    /* above 0 */
    tr_vec2 *corners_mm; /* of a simple polygon; owned */
    int n_corners;
    int from_line;
} tr_free_area;
/* How even the floor has to be (vehicle/floor.h). */
typedef enum {
    TR_LIMIT_SLOPE,       /* from the wheels' stand to each target's place, rad */
    TR_LIMIT_TILT,        /* of each target's place itself, along and across, against the stand */
    TR_LIMIT_LEVEL,       /* of the stand, and from it to each target's place, against the
                             horizontal */
    TR_LIMIT_OUT_OF_FLAT, /* of each sheet on the floor from the best plane through all, mm */
    TR_N_FLOOR_LIMITS
} tr_floor_limit;

/* "slope_deg", "tilt_deg", "level_deg", "out_of_flat_mm". */
const char *tr_floor_limit_key(tr_floor_limit limit);
bool tr_floor_limit_is_angle(tr_floor_limit limit);

typedef struct {
    char *path;
    char id[64];
    char vehicle[128];
    tr_axes axes;
    double wheelbase_mm, track_front_mm, track_rear_mm; /* 0 where the layout does not say */
    double reference_tolerance_mm;                      /* default 15 */
    double thrust_limit_rad; /* how far the thrust angle may be off; 0: not judged */
    double flatness_mm;      /* a required sheet may be out of flat by this; default 5 */
    double floor_limit[TR_N_FLOOR_LIMITS]; /* 0: not judged */
    tr_placement *placements;
    int n_placements;
    tr_relation *relations;
    int n_relations;
    tr_free_area *free_areas;
    int n_free_areas;
    tr_precondition *preconditions;
    int n_preconditions;
    tr_usual_reference *references; /* that new jobs get, beside the shop's or in their place */
    int n_references;
} tr_layout;

/* On failure err names file, line and key, and *out is empty. A sheet may be placed only once. */
TR_MUST_USE bool tr_layout_read(const char *path, tr_layout *out, tr_error *err);
void tr_layout_release(tr_layout *layout);

#endif
