/* Photographs of a made-up workshop, with the truth: where every mark of every sheet lies in the
   image. The renderer judges the measuring part, so it shares as little with it as it can: of this
   program it uses the lens model, the sheet as read from its file, and the tag families' cells.

   How a photo comes about:
     1. One ray per pixel finds which surface is seen. Rays go through the lens model inverted by
        Newton's iteration, not through a table.
     2. Every pixel that an edge may touch is cut into TR_CELLS x TR_CELLS cells. Where it lies on
   one sheet, the black part of each cell is the exact area of what is printed within the cell's
        outline on the sheet; where surfaces meet, 9 rays a cell are averaged.
     3. The pixel's own box and the optics' Gaussian are one kernel, integrated over those cells in
        linear light, separately along u and v.
     4. Vignetting, exposure, tone curve and what else develops a photo follow (tr_imaging).
   A camera may turn and travel while its rows are read out: a ray then starts from where the camera
   is when the pixel's row is read, and no ray is approximated.
   A straight edge lies within 0.001 px of the truth (tests/test_render.c measures it).

   The vehicle frame is the contract's: origin on the floor under the middle of the rear axle, X
   forward, Y left, Z up; the camera frame: x right, y down, z forward. mm. Pixel (0, 0) is the
   centre of the first one. Reflectances and light are linear, 1 is the sensor's white at
   exposure 1. */
#ifndef TR_TOOLS_RENDER_H
#define TR_TOOLS_RENDER_H

#include <stdint.h>

#include "base/error.h"
#include "geom/geom.h"
#include "image/image.h"
#include "lens/lens.h"
#include "sheet/sheet.h"
#include "tools/relief.h"

enum { TR_CELLS = 4, TR_MAX_OUTLINE = 12 };

/* Ink and paper. */
#define TR_BLACK 0.05
#define TR_WHITE 0.85

/* A sheet and how it lies. Its face is white; each tag of it is printed with its family's cells,
   each checker corner as 2 x 2 squares, black at the top left and the bottom right; a white disc
   lies on a black square of TR_DISC_GROUND diameters.
   Of a point (x, y) of the sheet file, the print lies at (compare network/sheet.h)
     x' = x (1 + print_scale_x)   y' = y (1 + print_scale_y)
     z' = bow_x (1 - (x/hx)^2) + bow_y (1 - (y/hy)^2) + relief
   with hx, hy half the face's width and height, and the relief as in relief.h. Slopes are small: no
   part of a sheet hides another. Ink has run: all that is black reaches ink_mm farther (below half
   a cell), squares growing to larger squares. */
typedef struct {
    tr_sheet sheet;
    int squares[2];    /* columns, rows of a checkerboard over the whole sheet; 0, 0: it is none */
    double pitch_mm;   /* edge of its squares */
    double checker_mm; /* edge of each square at a checker corner */
    double print_scale[2];
    double bow_mm[2];
    tr_relief relief;
    double ink_mm;
    tr_pose vehicle_from_sheet;
} tr_scene_sheet;

/* A thing that hides what is behind it: an outline in side view (convex, at most TR_MAX_OUTLINE
   corners), or a circle, drawn out along Y. */
typedef struct {
    tr_vec2 outline_xz_mm[TR_MAX_OUTLINE];
    int n_outline; /* 0: a circle */
    double centre_xz_mm[2], radius_mm;
    double y_mm[2]; /* from, to */
    double reflectance;
    double tint[2]; /* Cb, Cr - 128 per unit of Y / 255 */
} tr_solid;

/* Paint or a joint on the floor. */
typedef struct {
    tr_vec2 from_mm, to_mm;
    double width_mm;
    double reflectance;
    double tint[2];
} tr_floor_line;

/* Less light within a polygon (any sense of rotation), seen from above; of two corners: to the left
   of the line from the first to the second. The edge is softness_mm wide, at least 10. */
typedef struct {
    tr_vec2 corner_mm[TR_MAX_OUTLINE];
    int n_corners;
    double softness_mm;
    double strength; /* part of the light that is missing, 0..1 */
} tr_shadow;

typedef enum { TR_TONE_LINEAR, TR_TONE_SRGB, TR_TONE_S_CURVE } tr_tone;

typedef struct {
    double blur_px[2];  /* sd of the optics' Gaussian along u and v; the pixel's box comes on top */
    double exposure;    /* factor on the light */
    double vignetting;  /* part of the light that the image's corners lack */
    double gradient[2]; /* relative change of light from the centre to the right and bottom edge */
    /* srgb: IEC 61966-2-1. s-curve: c -> c^2 (3 - 2c) on top of it, steeper in the middle. */
    tr_tone tone;
    /* What follows works on the coded image c, 0..1, in this order; all zero: nothing of it. */
    double raw_noise_sd; /* of 255, of the sensor */
    /* Denoising: each pixel becomes the mean of those about it that differ little, weighted by
       exp(-distance^2 / 2 radius^2) / (1 + (difference / 3 raw_noise_sd)^2)^2. Edges stay; what is
       left of the noise in even areas is smooth. */
    double denoise_radius_px;
    /* Local tone mapping: c becomes 0.5 + (1 - k)(base - 0.5) + (1 + k)(c - base), the base being
       blurred c. Large differences shrink, fine ones grow. */
    double local_contrast; /* k, 0..1 */
    double local_radius_px;
    double sharpen;           /* unsharp mask: c + sharpen (c - blurred c) */
    double sharpen_radius_px; /* sd of that blur */
    double noise_sd;          /* of 255, added at last */
    uint64_t seed;
    int jpeg_quality; /* 1..100 */
    bool is_colour;   /* JPEG with slight tints, 4:2:0; its Y is the grey image */
} tr_imaging;

/* No blur, exposure 1, linear, no noise; JPEG quality 95, grey. */
tr_imaging tr_imaging_plain(void);

/* A phone is another camera in every photo. With
     s = (v - (h - 1) / 2) / h where w >= h, (u - (w - 1) / 2) / w in a portrait file,
   a point P of the vehicle frame is seen at the pixel for which
     q = exp([s turn]x) R (P - C - s travel)
     u = fx (1 + focal) X(q) + cx + shift_u   v = fy (1 + focal) Y(q) + cy + shift_v
   with X, Y as in lens.h. */
typedef struct {
    char file[128];              /* name of the photo */
    tr_pose vehicle_from_camera; /* at the middle of the sensor: R', C */
    tr_vec2 shift_px;            /* of the principal point */
    double focal;                /* relative change of both focal lengths */
    tr_vec3 turn_rad;            /* while a frame is read out, about the camera's axes ... */
    tr_vec3 travel_mm;           /* ... and along those of the vehicle */
    tr_imaging imaging;
} tr_scene_camera;

/* All arrays are owned where tr_scene_release is called; a caller who builds a scene on the stack
   does not call it. All zero but the lens is a valid scene of an empty, black floor. */
typedef struct {
    char id[64];
    tr_lens lens;
    tr_scene_sheet *sheets;
    int n_sheets;
    tr_solid *solids;
    int n_solids;
    tr_floor_line *lines;
    int n_lines;
    tr_shadow *shadows;
    int n_shadows;
    double floor_reflectance;
    double floor_texture; /* 0: even; 1: concrete */
    double floor_tint[2];
    tr_scene_camera *cameras;
    int n_cameras;
} tr_scene;

void tr_scene_release(tr_scene *scene);

/* Reads a scene file; the format is described in tools/render/scene_file.c. */
TR_MUST_USE bool tr_scene_read(const char *path, tr_scene *out, tr_error *err);

/* vehicle_from_sheet of the contract's placement: a floor sheet (mat, plate) lies face up, its up
   direction forward at yaw 0; an upright one (board, hub) faces backward, top up, at yaw 0. Then
   roll about X, pitch about Y and yaw about Z of the vehicle, in this order (ISO 8855: yaw, pitch,
   roll as Euler angles): R = Rz(yaw) Ry(pitch) Rx(roll) R0. rad. */
tr_pose tr_sheet_pose(tr_sheet_kind kind, tr_vec3 centre_mm, double yaw_rad, double pitch_rad,
                      double roll_rad);

/* vehicle_from_camera of a camera at a place that looks at a point, the image's up direction being
   upward, then turned by roll about the line of sight, clockwise as the photographer sees it. */
tr_pose tr_camera_pose(tr_vec3 at_mm, tr_vec3 look_at_mm, double roll_rad);

/* A checkerboard of columns x rows squares, its top left one black, with a white margin; its sheet
   has the inner corners, row by row from the top left, as corners_mm. Owned by the caller
   (tr_sheet_release). kind: as the sheet lies. */
TR_MUST_USE bool tr_checkerboard(const char *id, tr_sheet_kind kind, int columns, int rows,
                                 double pitch_mm, double margin_mm, tr_scene_sheet *out,
                                 tr_error *err);

/* The photo of one camera before vignetting and tone curve: linear light, width x height of the
   lens, row by row; owned by the caller (free). NULL: err is set. */
float *tr_scene_light(const tr_scene *scene, int camera, tr_error *err);

/* Cb and Cr, width x height each as the photo; owned. */
typedef struct {
    uint8_t *cb, *cr;
} tr_chroma;
void tr_chroma_release(tr_chroma *chroma);

/* The photo of one camera as a file would hold it before JPEG. chroma may be NULL. The same scene
   gives the same bytes. */
TR_MUST_USE bool tr_scene_photo(const tr_scene *scene, int camera, tr_image *out, tr_chroma *chroma,
                                tr_error *err);

/* The same as a JPEG file, as the camera's imaging says. */
TR_MUST_USE bool tr_scene_photo_write(const tr_scene *scene, int camera, const char *path,
                                      tr_error *err);

/* Where one point of a sheet is in one photo. */
typedef struct {
    int sheet;
    int tag;    /* index on its sheet, -1: a checker corner or a disc */
    int corner; /* 0..3 of the tag (order of tr_tag_corner), or the index of the checker corner */
    int disc;   /* index on its sheet, -1: no disc */
    tr_vec2 p_sheet_mm;
    bool is_projected; /* it lies before the camera, within the lens model */
    tr_vec2 uv_px;
    bool is_visible; /* within the image, and nothing stands before it */
} tr_seen;

/* All tag and checker corners and centres of discs of all sheets, sheet by sheet, in this order;
 *n of them; owned by the caller (free). NULL and *n = 0 where there are none, or on failure (err is
 *set). */
tr_seen *tr_scene_truth(const tr_scene *scene, int camera, int *n, tr_error *err);

/* All that is known of a scene as JSON: the lens, where each sheet lies, and per photo the camera's
   pose and tr_scene_truth. */
TR_MUST_USE bool tr_scene_truth_write(const tr_scene *scene, const char *path, tr_error *err);

#endif
