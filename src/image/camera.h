/* With which camera, focal length and zoom photos were taken, as far as they tell (image/exif.h). A
   lens profile keeps it of the photos that it was made from, so that photos taken otherwise are
   noticed: a lens at another zoom is another lens. */
#ifndef TR_IMAGE_CAMERA_H
#define TR_IMAGE_CAMERA_H

#include <stdbool.h>

#include "base/finding.h"

/* All zero: nothing is told. */
typedef struct {
    char name[64];                     /* make and model in one printable line; "": not told */
    double focal_length_mm;            /* 0: not told, as below */
    double equivalent_focal_length_mm; /* with the same angle of view on 35 mm film */
    double digital_zoom;               /* ratio; 1: none */
    char lens[64]; /* which of its lenses, in its own words, in one printable line; "": not told */
} tr_camera;

/* No length and no ratio of a camera reaches these. */
#define TR_CAMERA_MAX_FOCAL_MM 10000.0
#define TR_CAMERA_MAX_ZOOM 1000.0

/* What tells two cameras apart. */
typedef enum {
    TR_CAMERA_NAME,
    TR_CAMERA_ZOOM,
    TR_CAMERA_FOCAL_LENGTH,
    TR_CAMERA_EQUIVALENT_FOCAL_LENGTH,
    TR_CAMERA_LENS
} tr_camera_trait;

/* True, and the first difference in *in, where what is told contradicts: another name, another
   digital zoom, a focal length more than 1 % off (5 % where it is the equivalent one, which cameras
   round to whole millimetres), or else another lens by its name. What is not told contradicts
   nothing; only a camera that tells its name, but no digital zoom, has none: many write it only
   where there is some. */
bool tr_camera_differ(const tr_camera *a, const tr_camera *b, tr_camera_trait *in);

/* Its digital zoom, with 1 for none where it tells its name alone; 0: not told. */
double tr_camera_zoom(const tr_camera *camera);

/* Notes how photos were taken by what the camera is told apart by, a part of a sentence. False:
   memory ran out. */
TR_MUST_USE bool tr_camera_note(const tr_camera *camera, tr_camera_trait by, tr_findings *taken,
                                tr_error *err);

/* How a sensor's rows lie in a stored image: a rolling shutter reads them one after the other, so
   that time goes with v where this is true, else with u. Sensors are wider than high; a file that
   is higher than wide was turned by the camera before it was stored. */
static inline bool tr_camera_reads_along_v(int width_px, int height_px) {
    return width_px >= height_px;
}

/* Takes over from more what camera does not tell. */
void tr_camera_complete(tr_camera *camera, const tr_camera *more);

#endif
