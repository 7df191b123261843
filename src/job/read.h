/* What the files of a job and of a survey have in common. Values of an open file, as in
   base/yaml.h: what is wrong with them is told when that is closed. Private to job and survey. */
#ifndef TR_JOB_READ_H
#define TR_JOB_READ_H

#include "base/yaml.h"
#include "job/job.h"

/* The lens profiles and the photos of a file, as tr_job has them. Arrays and paths are owned. */
typedef struct {
    tr_lens lenses[TR_MAX_LENSES];
    int n_lenses, n_only_named;
    char **photos;
    int *photo_lens;
    int *photo_position; /* of each, from 0; NULL where there are no photos */
    int n_photos;
    int n_positions; /* at least 1 */
} tr_shots;

/* From the keys `lens` and `photos` of the file's root:
     lens: lens/a.yaml                     # or a list; or unknown
     photos: [photos/1.jpg, { file: photos/2.jpg, lens: lens/b.yaml }]
   or, where the file may have it, `positions`: a list of such lists, one a roll position.
   Profiles are read; an unknown lens is one of no size (lens/unknown.h). No photo may stand there
   twice, no two profiles may have one name. */
void tr_read_shots(tr_yaml root, tr_shots *out);

/* y is the path of a sheet's file: reads it into sheets[i]. None of those before may have its id.
 */
void tr_read_sheet(tr_yaml y, bool (*read)(const char *path, tr_sheet *out, tr_error *err),
                   tr_sheet *sheets, int i);

/* y is the id of one of n sheets: its index; 0, and the error set, where there is none. */
int tr_read_sheet_name(tr_yaml y, const tr_sheet *sheets, int n);

/* What coordinates count from: one name for x and y, with heights from the floor; or one for each
   coordinate, z where has_z. Any other name than an axle's is for the job to find. */
void tr_read_origins(tr_yaml y, bool has_z, tr_origin from[3]);

/* y is the layout's list of free areas; what was read is released also where that failed. */
void tr_free_areas_read(tr_yaml y, tr_layout *layout);
void tr_free_areas_release(tr_layout *layout);

#endif
