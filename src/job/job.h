/* A job: one vehicle on one day, with everything that the job file names, read and checked. The
   file's format: help/job.c, which is trammel-job(5). */
#ifndef TR_JOB_JOB_H
#define TR_JOB_JOB_H

#include "base/error.h"
#include "job/layout.h"
#include "lens/lens.h"
#include "sheet/sheet.h"

/* Photos of one measurement, of a job or of a survey. More say nothing new. */
enum { TR_MAX_PHOTOS = 1000 };
/* Cameras of one measurement. */
enum { TR_MAX_LENSES = 8 };
/* Roll positions of a vehicle: a quarter turn of its wheels apart, there are four. */
enum { TR_MAX_POSITIONS = 8 };
/* Sheet files of a job; marked points of a vehicle; with the lone tags among these, all sheets. */
enum { TR_MAX_SHEETS = 64, TR_MAX_REFERENCES = 32 };
enum { TR_JOB_MAX_SHEETS = TR_MAX_SHEETS + TR_MAX_REFERENCES };
/* Pointers of a job. */
enum { TR_MAX_POINTERS = 64 };
/* Photos of bar codes and QR codes. */
enum { TR_MAX_CODE_PHOTOS = 100 };

typedef enum {
    TR_FRONT_LEFT,
    TR_FRONT_RIGHT,
    TR_REAR_LEFT,
    TR_REAR_RIGHT,
    TR_N_POINTS
} tr_wheel_point;

/* "front-left", ... : the contract's words. */
const char *tr_wheel_point_name(tr_wheel_point point);

/* A sheet that marks a point of the vehicle: of a wheel, or one that has a name of its own. What
   holds the sheet (tr_support) tells where the point is: on the floor under it, on the vehicle
   itself, or, of a sheet that hangs on a wheel, on the wheel's axis. */
typedef struct {
    tr_wheel_point point; /* TR_N_POINTS: it has a name of its own, ... */
    char name[64];        /* ... which is this; of a wheel "" */
    int sheet;            /* index into the job's sheets */
    tr_vec2 at_mm;        /* the place on that sheet that lies on the point, or on the axis */
    double standoff_mm;   /* of a sheet on a wheel: from its face inward to the wheel's mid-plane */
} tr_reference;

/* A plate whose printed tip was laid at a point of a target that carries no tags. */
typedef struct {
    int sheet, target; /* indices into the job's sheets */
    int point;         /* of the target's points */
} tr_pointer;

/* "rear-left", or the point's own name. */
const char *tr_reference_name(const tr_reference *reference);

/* What a level showed against the horizontal: the slope of the floor where it lay, above 0 where
   that rises towards the front (along) and towards the vehicle's left (across). */
typedef struct {
    bool is_given;
    int sheet; /* of the job, on which it lay; -1: where the wheels stand */
    double along_rad, across_rad;
    double sd_rad; /* above 0; one standard deviation, of each of both */
} tr_level;

typedef struct {
    char *path;
    char id[64];
    char vehicle_id[64]; /* "" where not given */
    char technician[64]; /* "" where not given */
    /* At least one; a lone one may be unknown, then without a size. The last n_only_named of them
       serve the photos alone that name them; each photo that names none has the one of the others
       that its EXIF fits. */
    tr_lens lenses[TR_MAX_LENSES];
    int n_lenses, n_only_named;
    tr_layout layout;
    tr_sheet *sheets;
    int n_sheets;
    tr_reference *references; /* in the file's order */
    int n_references;
    tr_pointer *pointers; /* in the file's order */
    int n_pointers;
    double
        pointer_sd_mm; /* > 0; how well a tip lies at its point: one standard deviation per axis */
    double reference_sd_mm; /* >= 0; one standard deviation per axis */
    double hub_tilt_sd_rad; /* how square a sheet hangs to its wheel's axis; per axis */
    double floor_sd_mm; /* how even the floor is under the wheels where the vehicle was rolled */
    tr_level level;
    char **photos;       /* paths as they can be opened: the job's folder is put in front */
    int *photo_lens;     /* of each: the lens that it names; -1: none */
    int *photo_position; /* of each: the roll position in which it was taken, from 0 */
    int n_photos;
    char **codes; /* photos from which bar codes and QR codes are read; paths as above */
    int n_codes;
    int n_positions; /* at least 1: the vehicle was rolled between them, and stands in the last */
    tr_confirmation *confirmations; /* of the layout's preconditions, in the file's order */
    int n_confirmations;
    bool is_moved[TR_JOB_MAX_SHEETS]; /* of each sheet: it was moved between positions */
} tr_job;

/* Reads the job file and all files that it names (lens, layout, sheets; not the photos). On failure
   err names the file, line and key at fault, and *out is empty. Beyond the single files it is
   checked that: no tag (family and id) stands on two sheets; no sheet id is given twice; every
   sheet of a placement and of a reference is there; no point and no reference sheet is named twice;
   no sheet is both placed and a reference; both rear points are marked (and all four where the
   layout's axes are `centreline`), those of an axle both by plates or both by hub sheets; all that
   a placement counts from is marked or placed; pointers tell where their targets are
   (job/pointers.h); a sheet without tags can be found; no two lens profiles have one name. Limits:
   64 sheets, TR_MAX_REFERENCES, TR_MAX_PHOTOS, TR_MAX_LENSES, TR_MAX_POSITIONS. */
TR_MUST_USE bool tr_job_read(const char *path, tr_job *out, tr_error *err);
void tr_job_release(tr_job *job);

/* What the job says of one of the layout's preconditions; NULL: nothing. Valid as long as the job.
 */
const tr_confirmation *tr_job_confirmation_of(const tr_job *job, int precondition);

/* The index of a sheet by its id, -1 where there is none. */
int tr_job_find_sheet(const tr_job *job, const char *id);
/* Whether the sheet stays where it is when the vehicle is rolled. */
bool tr_job_sheet_stays(const tr_job *job, int sheet);
/* What the layout requires of a sheet; NULL: nothing. Valid as long as the job. */
const tr_placement *tr_job_placement_of(const tr_job *job, int sheet);
/* Whether pointers are laid at the sheet. */
bool tr_job_has_pointers(const tr_job *job, int sheet);
/* Whether the sheet is to be found by its corners and discs: it has enough of them, and no tags. */
bool tr_job_seeks_artwork(const tr_job *job, int sheet);
/* Whether the sheet has to be measured: the layout places it, it marks a wheel's point, or it is a
   pointer. */
bool tr_job_needs_sheet(const tr_job *job, int sheet);

#endif
