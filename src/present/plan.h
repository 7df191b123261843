/* Plan views in the vehicle frame, as on a workshop drawing: the vehicle's front up, X up the page,
   Y to the left. Required outlines are dashed, measured ones solid and in their verdict's colour.
 */
#ifndef TR_PRESENT_PLAN_H
#define TR_PRESENT_PLAN_H

#include "check/result.h"
#include "plan/plan.h"
#include "present/canvas.h"

/* The whole: wheels, axles, centreline, tracks and wheelbase, every target; `target` with its
   dimensions, the others with their numbers. To scale. */
void tr_plan_draw(tr_canvas *canvas, tr_box box, const tr_check_result *result, int target);

/* The whole, with the number and the name of every target, counted from 1, and the letter of every
   relation between the two that it is of. To scale. */
void tr_plan_draw_all(tr_canvas *canvas, tr_box box, const tr_check_result *result);

/* The whole, with the stations of a plan: numbers, and arrows to what is in the middle of each
   picture. */
void tr_plan_draw_stations(tr_canvas *canvas, tr_box box, const tr_plan *of);
/* A station's number in its disc, radius_px about (x, y). */
void tr_plan_draw_number(tr_canvas *canvas, double x, double y, double radius_px, int number);

/* One target near by: its outline where it should lie and, errors enlarged by a round factor that
   stands below in letters of words_px, where it lies; its limits about the required centre, its u95
   about the measured one. */
void tr_plan_draw_detail(tr_canvas *canvas, tr_box box, const tr_check_result *result, int target,
                         double words_px);

/* Corners of a sheet in the frame of a pose, anticlockwise from bottom left of the face. */
void tr_sheet_outline(const tr_sheet_result *sheet, tr_pose a_from_sheet, tr_vec3 corners_mm[4]);

/* Whether there is a slide or a turn worth drawing, as tr_verdict_moves has it for usual limits. */
bool tr_target_has_slide(const tr_target_result *target);
bool tr_target_has_turn(const tr_target_result *target);

#endif
