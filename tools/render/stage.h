/* A scene made ready for one camera: what a ray from it meets first, and how much light comes from
   there. The camera frame is that of the middle of the sensor, whatever row a ray belongs to.
   Private to the renderer. */
#ifndef TR_TOOLS_STAGE_H
#define TR_TOOLS_STAGE_H

#include "tools/render/face.h"
#include "tools/render/render.h"

/* In the camera frame: from + t along, t being near the depth in mm. */
typedef struct {
    tr_vec3 from_mm, along;
} tr_ray;

typedef struct {
    const tr_scene_sheet *of;
    tr_face face;
    double half_mm[2];
    bool has_relief;
    tr_pose sheet_from_camera;
    double shade;      /* by the tilt of the face */
    tr_vec3 centre_mm; /* sphere about it, in the camera frame */
    double radius2;
} tr_stage_sheet;

/* A half space normal.p <= gap of the camera frame. */
typedef struct {
    tr_vec3 normal;
    double gap;
} tr_half_space;

/* A solid in the camera frame: half spaces, and the sphere about it. */
typedef struct {
    const tr_solid *of;
    tr_half_space side[TR_MAX_OUTLINE + 2]; /* y from, y to, edges of the outline */
    int n_sides;
    tr_vec3 centre_mm;
    double radius2;
} tr_stage_solid;

typedef struct {
    const tr_floor_line *of;
    tr_vec2 along; /* unit vector */
    double length_mm;
} tr_stage_line;

typedef struct {
    const tr_scene *scene;
    tr_lens lens; /* as it was in the photo */
    tr_pose vehicle_from_camera;
    tr_vec3 turn_rad, travel_mm; /* while a frame is read out, both in the camera frame */
    bool is_moving;
    tr_stage_sheet *sheets; /* as many as the scene has */
    tr_stage_solid *solids; /* likewise */
    tr_stage_line *lines;
} tr_stage;

/* Surfaces by number: the floor, what lies beyond it, the sheets, the faces of the solids. */
enum {
    TR_SURFACE_FLOOR,
    TR_SURFACE_SKY,
    TR_SURFACE_SHEETS,
    TR_FACES_PER_SOLID = TR_MAX_OUTLINE + 2
};

typedef struct {
    double depth_mm;
    int surface;
    tr_vec2 p_mm;         /* place on the sheet (of its file), or on the floor */
    bool is_back;         /* of a sheet */
    tr_vec3 p_vehicle_mm; /* of the floor and of solids */
    tr_vec3 normal;       /* of solids, in the vehicle frame */
} tr_hit;

/* The camera must be one of the scene's. The scene is borrowed. */
TR_MUST_USE bool tr_stage_make(const tr_scene *scene, int camera, tr_stage *out, tr_error *err);
void tr_stage_release(tr_stage *stage);

/* What part of a frame after the middle a pixel is read out. */
double tr_stage_row(const tr_stage *stage, tr_vec2 uv_px);
/* The camera at that time: its frame from that of the middle. */
tr_pose tr_stage_moved(const tr_stage *stage, double row);
/* The ray of a pixel that sees the place xy of the ideal image plane. */
tr_ray tr_stage_ray(const tr_stage *stage, tr_vec2 uv_px, tr_vec2 xy);

/* The surface that a ray meets first. The floor lies behind everything else, so that a sheet may
   sink into it. */
tr_hit tr_stage_trace(const tr_stage *stage, tr_ray ray);

/* The same where nothing but this surface is in the way. */
tr_hit tr_stage_trace_only(const tr_stage *stage, int surface, tr_ray ray);

/* Where a ray meets the surface of sheet i, even off its face. False where it does not. */
bool tr_stage_meet_sheet(const tr_stage *stage, int i, tr_ray ray, tr_vec2 *p_mm, double *depth_mm);

/* How the place of a hit on a sheet or the floor moves when the ray moves: J_ray is d(x, y) of the
   ray over d(u, v), 2 x 2 by rows; J likewise, mm per px. What the camera moves from row to row (a
   thousandth of it) is left out.
   All 0 for other surfaces. */
void tr_stage_jacobian(const tr_stage *stage, const tr_hit *hit, tr_ray ray, const double J_ray[4],
                       double J[4]);

/* Lower bound of the distance, in px, from a hit to the nearest edge on its surface. J: of the hit;
   not read for solids, which have none. */
double tr_stage_clear_px(const tr_stage *stage, const tr_hit *hit, const double J[4]);

/* Light from a hit. step_mm: how far apart neighbouring rays meet the floor; finer texture fades.
 */
double tr_stage_light(const tr_stage *stage, const tr_hit *hit, double step_mm);

/* Light from a place on the printed side of sheet i of which the given part is black. */
double tr_stage_sheet_light(const tr_stage *stage, int i, tr_vec3 p_vehicle_mm, double black_part);

/* Cb, Cr - 128 per unit of Y / 255. */
const double *tr_stage_tint(const tr_stage *stage, const tr_hit *hit);

/* Of a point of the sheet's file: where its print lies in the sheet frame. */
tr_vec3 tr_scene_sheet_point(const tr_scene_sheet *sheet, tr_vec2 p_mm);

#endif
