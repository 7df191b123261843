/* Jobs simulated at the level of marks: no photo is rendered; the marks that a photo would give are
   computed from a known scene and disturbed. For campaigns (tools/campaign) and for tests of all
   that comes after the marks. An invented vehicle stands on a floor with a mat (or two, side by
   side) behind it and a plate at each wheel; its body hides what is behind it. */
#ifndef TR_TOOLS_SIMULATE_H
#define TR_TOOLS_SIMULATE_H

#include <stdint.h>

#include "base/error.h"
#include "check/check.h"
#include "job/job.h"
#include "tools/simulate/phone.h"

enum { TR_SIM_MAX_PHOTOS = 10, TR_SIM_MAX_POINTERS = 4, TR_SIM_MAX_SHEETS = 9 };
enum { TR_SIM_MAX_ITEMS = TR_SIM_MAX_SHEETS + 1 };

/* What is printed on a mat without tags. */
typedef enum { TR_SIM_TAGGED, TR_SIM_CORNERS, TR_SIM_DISCS } tr_sim_artwork;

/* Sheets of the job: the mat, then the plates in the order of tr_wheel_point, then the second mat
   or the pointers. */
enum {
    TR_SIM_MAT,
    TR_SIM_PLATE,
    TR_SIM_MAT_2 = TR_SIM_PLATE + TR_N_POINTS,
    TR_SIM_POINTER = TR_SIM_MAT_2
};

/* A wrinkle: a straight ridge of Gaussian section. What lies beyond it is drawn in, since the sheet
   grows no longer. */
typedef struct {
    double height_mm;  /* 0: none */
    double sd_mm;      /* of its section */
    double across_rad; /* direction across it, anticlockwise from the sheet's x */
    double at_mm;      /* where it runs, along that direction from the sheet's centre */
} tr_sim_ridge;

/* A printed sheet as it lies before one camera. Of a point (x, y) of the print:
     x' = x (1 + print_scale_x)   y' = y (1 + print_scale_y)   z' as in network.h, plus relief and
   ridge. */
typedef struct {
    int sheet; /* of the job */
    tr_pose vehicle_from_sheet;
    double print_scale[2];
    double bow_mm[2];
    tr_relief relief;
    tr_sim_ridge ridge;
} tr_sim_item;

/* A tag that is taken for another one in one photo. */
typedef struct {
    bool is_on;
    int photo;
    int sheet, tag;
    int as_sheet, as_tag;
} tr_sim_misread;

/* How the floor lies under a sheet, before chance adds to it. Slopes rise forward and to the left.
 */
typedef struct {
    double height_mm, along_rad, across_rad;
} tr_sim_floor;

/* The same as a sheet of this size lies on it: each of its corners is off by half a millimetre. */
tr_sim_floor tr_sim_lie(tr_sim_floor floor, double width_mm, double height_mm, tr_random *random);

/* What is there, and what the job says of it. */
typedef struct {
    int stations[TR_SIM_MAX_PHOTOS]; /* from where each photo is taken, 1 .. 10; 0: in order */
    bool has_places;                 /* or from exactly these places, upright, looking there */
    tr_vec3 at_mm[TR_SIM_MAX_PHOTOS], look_at_mm[TR_SIM_MAX_PHOTOS];
    tr_vec2 image_px;           /* size of the photos; 0: 4032 x 3024. The angle of view stays. */
    int n_pointers;             /* 2 .. 4: the mat carries no mark, and so many pointers are laid at
                                   its corners; 0: it does, and there are none */
    tr_sim_artwork artwork;     /* the mat carries a regular pattern of these and no tags; simulated
                                   photos do not show it, rendered ones do */
    double within_mm;           /* how far from its place the pattern is to be sought */
    bool has_second_mat;        /* two mats are required, left and right of the centreline */
    double mat_x_mm;            /* where the layout wants the mats, from the rear axle; 0: -1800 */
    double mat_error[3];        /* true placement error: x mm, y mm, yaw rad ... */
    double second_mat_error[3]; /* ... and of the second mat */
    tr_sim_floor floor[TR_SIM_MAX_SHEETS];
    double plate_part;        /* plates and their marks larger by this factor; 0: 1 */
    bool has_no_body;         /* nothing hides the sheets */
    bool is_exact_lens;       /* the profile has no covariance */
    bool is_steady;           /* the profile says that the camera does not scatter */
    bool is_lens_unknown;     /* the job has no profile; the true lens is drawn from those that
                                 phones have ... */
    double told_focal_factor; /* ... and EXIF tells its focal length times this; 0: nothing */
} tr_sim_scene;

/* What is drawn at random, within what the job allows for. */
typedef struct {
    double marks;           /* marks' noise as a multiple of their stated sd; 1 is honest */
    double mark_sd;         /* marks' stated sd as a multiple of a good camera's; 0: 1 */
    double reference_sd_mm; /* what the job says, and what plates are moved by */
    double pointer_sd_mm;   /* likewise, of pointers */
    bool draws_lens;        /* the true lens is drawn from the profile's covariance and the
                               adjustment's prior of focal lengths ... */
    uint64_t lens_seed;     /* ... by this seed; 0: the job's */
    bool draws_prints;      /* sizes of prints are drawn from the adjustment's prior */
    bool draws_floor;       /* z and tilt of sheets are drawn from the floor's prior, which is
                               wider than the phone's floor and stands for it */
    double survey_sd_mm;    /* sheets were surveyed: each place is wrong by this, 0: not, ... */
    double survey_scale_sd; /* ... and all together by a scale */
    tr_sim_phone phone;     /* has random numbers of its own */
} tr_sim_noise;

/* What is wrong, and the job does not know of. A factor of 0 is none, that is, 1. */
typedef struct {
    /* prints and files */
    double mat_scale;                /* factor of the mat's print ... */
    double mat_print_scale[2];       /* ... and, relative, on top of it along the mat's x and y */
    double plate_scale[TR_N_POINTS]; /* factor of each plate's print */
    int exchanged_tags[2]; /* the mat's file has these two tags' places exchanged; equal: no */
    int printed_twice;     /* 1 + index of a sheet of which a second print is about (0: none) ... */
    tr_vec2 copy_at_mm;    /* ... this far from the first, in the vehicle frame, ... */
    double copy_turn_rad;  /* ... and turned by this */
    tr_sim_misread misread;
    /* mats */
    bool is_mat_missing;
    bool are_mats_exchanged;
    double mat_curl_mm; /* the mat's left and right edges stand this high over its middle */
    tr_sim_ridge mat_ridge;
    tr_vec2 mat_moved_mm; /* the mat lies this much further on ... */
    int moved_from;       /* ... from this photo on (0: never) */
    /* pointers: the job says that pointer i lies at corner i, but ... */
    bool has_pointer_at;
    int pointer_at[TR_SIM_MAX_POINTERS];         /* ... it lies at this one, ... */
    tr_vec2 pointer_off_mm[TR_SIM_MAX_POINTERS]; /* ... that far from it */
    /* plates */
    tr_vec2 plate_off_mm[TR_N_POINTS];    /* a plate lies that far off its plumb mark */
    tr_wheel_point plate_at[TR_N_POINTS]; /* where each plate really lies ... */
    bool has_plate_at;                    /* ... where this is set */
    double plate_turn_rad[TR_N_POINTS];   /* turned about its centre */
    double plate_lift_mm[TR_N_POINTS];    /* something lies under it */
    tr_vec2 plate_nudge_mm[TR_N_POINTS];  /* a plate was pushed by this ... */
    int nudged_from;                      /* ... before this photo (0: never) */
    /* the camera */
    double lens_factor;                       /* true focal lengths over the profile's */
    double zoom[TR_SIM_MAX_PHOTOS];           /* a photo cut and enlarged by this factor ... */
    tr_vec2 zoom_shift_px[TR_SIM_MAX_PHOTOS]; /* ... about a centre that then lies here */
    double camera_roll_rad[TR_SIM_MAX_PHOTOS];
} tr_sim_faults;

/* All zero with a seed is an exact job of 7 photos, with nothing wrong. */
typedef struct {
    uint64_t seed;
    int n_photos; /* 3 .. 10; 0: 7 */
    tr_sim_scene scene;
    tr_sim_noise noise;
    tr_sim_faults faults;
} tr_sim_options;

/* The scene of one photo. */
typedef struct {
    tr_sim_exposure exposure;
    tr_lens
        lens; /* through which it was really taken, with the exposure's shift and focal factor */
    tr_sim_item items[TR_SIM_MAX_ITEMS];
    int n_items;
} tr_sim_photo;

typedef struct {
    tr_job job;
    tr_check check; /* photos with marks, ready for tr_check_evaluate */
    /* Of placement i at 3 i: x mm (from the rear axle), y mm, yaw rad. */
    double truth[6];
    /* What a measurement without any other error would say: the same in the frame of the plates as
       they lie with their chance error, but without being off, exchanged or lifted.
       as_laid[m][n]: of the mat before (0) or after (1) it was moved, by the plates before (0) or
       after (1) they were nudged. */
    double as_laid[2][2][6];
    /* The scene, for those who render it: one pose a sheet of the job (before anything was moved),
       one a photo. */
    tr_lens true_lens;
    tr_sheet *printed; /* the sheets as printed, where a file is wrong; else as in the job */
    tr_pose *vehicle_from_sheet;
    tr_relief relief[TR_SIM_MAX_SHEETS];
    tr_pose *vehicle_from_camera;
    tr_sim_photo *photos;
} tr_sim;

/* The body that hides what is behind it: a box, low and high corner, mm in the vehicle frame. */
extern const double TR_SIM_BODY_LOW_MM[3];
extern const double TR_SIM_BODY_HIGH_MM[3];

TR_MUST_USE bool tr_simulate(const tr_sim_options *options, tr_sim *out, tr_error *err);
void tr_sim_release(tr_sim *sim);

/* Corner i of the mat at which a pointer can be laid, on the mat: front left, rear right, front
   right, rear left. */
tr_vec2 tr_sim_mat_corner(int i);

/* The step of the pattern of a mat without tags. mm */
double tr_sim_pattern_step(tr_sim_artwork artwork);

/* Where a point of an item's print lies, mm in the vehicle frame. */
tr_vec3 tr_sim_item_point(const tr_sim *sim, const tr_sim_item *item, tr_vec2 p_mm);
/* Where it would be in a photo, were nothing in the way. False: outside the lens model. */
bool tr_sim_project(const tr_sim *sim, int photo, const tr_sim_item *item, tr_vec2 p_mm,
                    tr_vec2 *uv_px);

#endif
