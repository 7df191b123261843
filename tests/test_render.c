/* The renderer is the truth that the measuring part is judged by, so it is held against fits that
   know nothing of it: where do edges lie in the light that it gives, and how wide are they? */
#include "check.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include <apriltag/apriltag.h>
#include <apriltag/tag36h11.h>
#include <jansson.h>

#include "base/file.h"
#include "draw.h"
#include "tools/render/face.h"
#include "tools/render/render.h"

enum { WIDTH = 800, HEIGHT = 600 };

/* A face with tags and checker corners of all sorts; scenes are built on the stack. */
typedef struct {
    tr_tag tags[2];
    tr_vec2 corners_mm[2];
    tr_scene_sheet sheets[1];
    tr_solid solids[1];
    tr_shadow shadows[1];
    tr_scene_camera cameras[1];
    tr_scene scene;
} stage;

static tr_lens lens_with(double k1, double p1) {
    return (tr_lens){.id = "test",
                     .width_px = WIDTH,
                     .height_px = HEIGHT,
                     .param = {700.5, 698.25, 402.3, 297.1, k1, -0.1, p1, -0.001, 0.02}};
}

static void set_up_stage(stage *s, tr_vec3 camera_mm, tr_vec3 look_at_mm, double roll_rad) {
    memset(s, 0, sizeof *s);
    s->tags[0] = (tr_tag){.id = 0, .centre_mm = {-150, 30}, .size_mm = 160};
    s->tags[1] = (tr_tag){.id = 123, .centre_mm = {150, -20}, .size_mm = 160, .turn_rad = 0.6};
    s->corners_mm[0] = tr_v2(-10, 110);
    s->corners_mm[1] = tr_v2(-10, -110);
    s->sheets[0] = (tr_scene_sheet){.sheet = {.id = "MAT-1",
                                              .kind = TR_SHEET_MAT,
                                              .width_mm = 600,
                                              .height_mm = 320,
                                              .tag_family = "tag36h11",
                                              .tags = s->tags,
                                              .n_tags = 2,
                                              .corners_mm = s->corners_mm,
                                              .n_corners = 2},
                                    .checker_mm = 40,
                                    .vehicle_from_sheet =
                                        tr_sheet_pose(TR_SHEET_MAT, tr_v3(0, 0, 0), 0.1, 0, 0)};
    s->cameras[0] =
        (tr_scene_camera){.vehicle_from_camera = tr_camera_pose(camera_mm, look_at_mm, roll_rad),
                          .imaging = tr_imaging_plain()};
    s->cameras[0].imaging.blur_px[0] = 0.7;
    s->cameras[0].imaging.blur_px[1] = 0.7;
    s->scene = (tr_scene){.lens = lens_with(0.08, 0.001),
                          .sheets = s->sheets,
                          .n_sheets = 1,
                          .floor_reflectance = 0.3,
                          .cameras = s->cameras,
                          .n_cameras = 1};
}

/* ---- an edge, fitted ---- */

/* As relief.h says. */
static double relief_of(const tr_relief *r, double hx, double hy, tr_vec2 p) {
    double d[4] = {hx + p.x, hx - p.x, hy + p.y, hy - p.y};
    double f[4] = {0};
    double wave =
        r->wave_mm * sin(r->wave_rad_per_mm[0] * p.x + r->wave_rad_per_mm[1] * p.y + r->wave_rad);
    for (int k = 0; k < 4 && r->reach_mm > 0; k++) {
        if (d[k] < r->reach_mm) f[k] = pow(1 - d[k] / r->reach_mm, 2);
    }
    double sum = wave;
    for (int k = 0; k < 4; k++) sum += r->side_mm[k] * f[k];
    for (int k = 0; k < 4; k++) {
        int x = k % 2;
        int y = 2 + k / 2;
        sum += (r->corner_mm[k] - r->side_mm[x] - r->side_mm[y]) * f[x] * f[y];
    }
    return sum;
}

/* Where a place of the sheet, given by the contract's words alone, is seen; and where a camera that
   moves sees it, by render.h's. */
static tr_vec2 project(const stage *s, tr_vec2 p) {
    const tr_scene_sheet *sheet = &s->sheets[0];
    const tr_scene_camera *camera = &s->cameras[0];
    double hx = sheet->sheet.width_mm / 2, hy = sheet->sheet.height_mm / 2;
    double a = p.x / hx, b = p.y / hy;
    tr_vec3 bent = tr_v3(p.x * (1 + sheet->print_scale[0]), p.y * (1 + sheet->print_scale[1]),
                         sheet->bow_mm[0] * (1 - a * a) + sheet->bow_mm[1] * (1 - b * b) +
                             relief_of(&sheet->relief, hx, hy, p));
    tr_vec3 P = tr_pose_apply(sheet->vehicle_from_sheet, bent);
    tr_mat3 R = tr_m3_transpose(camera->vehicle_from_camera.R);
    tr_lens lens = s->scene.lens;
    lens.param[TR_FX] *= 1 + camera->focal;
    lens.param[TR_FY] *= 1 + camera->focal;
    tr_vec2 uv = {0, 0};
    double part = 0;
    bool is_moving = tr_v3_norm(camera->turn_rad) + tr_v3_norm(camera->travel_mm) > 0;
    for (int round = 0; round < (is_moving ? 4 : 1); round++) {
        tr_vec3 at =
            tr_v3_add(camera->vehicle_from_camera.t_mm, tr_v3_scale(part, camera->travel_mm));
        tr_vec3 q = tr_m3_apply(R, tr_v3_sub(P, at));
        q = tr_m3_apply(tr_rotation_from_vector(tr_v3_scale(part, camera->turn_rad)), q);
        assert_true(tr_lens_project(&lens, q, &uv, NULL, NULL));
        uv = tr_v2_add(uv, camera->shift_px);
        part = lens.width_px >= lens.height_px
                   ? (uv.y - (lens.height_px - 1) / 2.0) / lens.height_px
                   : (uv.x - (lens.width_px - 1) / 2.0) / lens.width_px;
    }
    return uv;
}

typedef struct {
    double offset_px; /* of the edge from the truth, along the normal to its left */
    double sigma_px;
    double low, high; /* levels right and left of it */
    double rms;       /* of the fit */
    int n;
} edge_fit;

enum { MAX_PIXELS = 20000 };
typedef struct {
    double distance[MAX_PIXELS], value[MAX_PIXELS];
    int n;
} edge_pixels;

/* Pixels near the edge from a to b (on the sheet), away from its ends: their signed distance from
   the true edge, a curve in the image, to its left as seen with v up. */
static void gather(const stage *s, const float *light, tr_vec2 a, tr_vec2 b, double reach_px,
                   edge_pixels *out) {
    tr_vec2 ua = project(s, a), ub = project(s, b);
    double length_px = tr_v2_norm(tr_v2_sub(ub, ua));
    int low_u = (int)(fmin(ua.x, ub.x) - reach_px - 2),
        high_u = (int)(fmax(ua.x, ub.x) + reach_px + 2);
    int low_v = (int)(fmin(ua.y, ub.y) - reach_px - 2),
        high_v = (int)(fmax(ua.y, ub.y) + reach_px + 2);
    out->n = 0;
    for (int v = low_v; v <= high_v; v++) {
        for (int u = low_u; u <= high_u; u++) {
            int width = s->scene.lens.width_px;
            if (u < 0 || v < 0 || u >= width || v >= s->scene.lens.height_px) continue;
            /* The foot point of the pixel, by secant steps along the edge. */
            tr_vec2 q = tr_v2(u, v);
            double t = 0.5, h = 1e-4;
            tr_vec2 foot = ua, tangent = ua;
            for (int step = 0; step < 8; step++) {
                foot = project(s, tr_v2_add(a, tr_v2_scale(t, tr_v2_sub(b, a))));
                tr_vec2 ahead = project(s, tr_v2_add(a, tr_v2_scale(t + h, tr_v2_sub(b, a))));
                tangent = tr_v2_scale(1 / h, tr_v2_sub(ahead, foot));
                t += tr_v2_dot(tr_v2_sub(q, foot), tangent) / tr_v2_dot(tangent, tangent);
                if (t < -0.5 || t > 1.5) break;
            }
            double margin = 4 / length_px;
            if (t < margin || t > 1 - margin) continue;
            double distance = tr_v2_cross(tr_v2_sub(q, foot), tangent) / tr_v2_norm(tangent);
            if (fabs(distance) > reach_px) continue;
            assert_true(out->n < MAX_PIXELS);
            out->distance[out->n] = distance;
            out->value[out->n++] = (double)light[v * width + u];
        }
    }
}

/* low + (high - low) Phi((distance - offset) / sigma), by Gauss-Newton. */
static edge_fit fit_edge(const edge_pixels *p) {
    double x[4] = {0, 0.8, 0, 0}; /* offset, sigma, low, high */
    double low = INFINITY, high = -INFINITY;
    double left = 0, right = 0;
    for (int i = 0; i < p->n; i++) {
        low = fmin(low, p->value[i]);
        high = fmax(high, p->value[i]);
        (p->distance[i] > 0 ? (left += p->value[i]) : (right += p->value[i]));
    }
    x[2] = left > right ? low : high;
    x[3] = left > right ? high : low;
    double sum2 = 0;
    for (int step = 0; step < 30; step++) {
        double A[4][5] = {{0}};
        sum2 = 0;
        for (int i = 0; i < p->n; i++) {
            double z = (p->distance[i] - x[0]) / x[1];
            double Phi = 0.5 * erfc(-z / sqrt(2));
            double phi = exp(-z * z / 2) / sqrt(2 * TR_PI);
            double k = (x[3] - x[2]) * phi / x[1];
            double J[4] = {-k, -k * z, 1 - Phi, Phi};
            double r = p->value[i] - (x[2] + (x[3] - x[2]) * Phi);
            sum2 += r * r;
            for (int a = 0; a < 4; a++) {
                for (int b = 0; b < 4; b++) A[a][b] += J[a] * J[b];
                A[a][4] += J[a] * r;
            }
        }
        for (int c = 0; c < 4; c++) { /* Gauss-Jordan; A is positive definite */
            for (int r = 0; r < 4; r++) {
                double f = r == c ? 0 : A[r][c] / A[c][c];
                for (int k = c; k < 5; k++) A[r][k] -= f * A[c][k];
            }
        }
        for (int a = 0; a < 4; a++) x[a] += A[a][4] / A[a][a];
    }
    return (edge_fit){x[0], x[1], x[2], x[3], sqrt(sum2 / p->n), p->n};
}

/* All straight edges of the marks of a stage: the outer sides of the tags' borders, and the arms of
   the checker corners, of which the first has black below it, the second to its left, and so on.
   Ink moves each of them to its white side. */
static int mark_edges(const stage *s, tr_vec2 from[], tr_vec2 to[]) {
    double ink = s->sheets[0].ink_mm;
    int n = 0;
    for (int i = 0; i < 2; i++) {
        tr_tag grown = s->tags[i];
        grown.size_mm += 2 * ink;
        for (int k = 0; k < 4; k++) {
            from[n] = tr_tag_corner(&grown, k);
            to[n++] = tr_tag_corner(&grown, (k + 1) % 4);
        }
        static const double ARM[4][2] = {{1, 0}, {0, 1}, {-1, 0}, {0, -1}};
        for (int k = 0; k < 4; k++) {
            /* White lies to the left of the first, to the right of the second ... */
            double side = k % 2 == 0 ? ink : -ink;
            tr_vec2 arm = tr_v2(ARM[k][0], ARM[k][1]);
            from[n] = tr_v2_add(s->corners_mm[i], tr_v2(-side * arm.y, side * arm.x));
            to[n] = tr_v2_add(from[n], tr_v2_scale(40, arm));
            n++;
        }
    }
    return n;
}

typedef struct {
    double sum_bleed; /* towards the black side */
    double sum2, largest, largest_rms, sum_sigma;
    int n;
} edge_totals;

static void measure_edges(const stage *s, edge_totals *totals) {
    tr_error err = {0};
    tr_vec2 from[16], to[16];
    float *light = tr_scene_light(&s->scene, 0, &err);
    assert_non_null(light);
    edge_pixels *pixels = malloc(sizeof *pixels);
    assert_non_null(pixels);
    int n = mark_edges(s, from, to);
    for (int i = 0; i < n; i++) {
        gather(s, light, from[i], to[i], 4.5, pixels);
        if (pixels->n < 60) continue;
        edge_fit fit = fit_edge(pixels);
        double to_black = fit.low < fit.high ? -fit.offset_px : fit.offset_px;
        totals->sum_bleed += to_black;
        totals->sum2 += fit.offset_px * fit.offset_px;
        totals->largest = fmax(totals->largest, fabs(fit.offset_px));
        totals->largest_rms = fmax(totals->largest_rms, fit.rms);
        totals->sum_sigma += fit.sigma_px;
        totals->n++;
        /* Ink and paper at both ends. */
        CHECK_NEAR(fmin(fit.low, fit.high), TR_BLACK, 0.004);
        CHECK_NEAR(fmax(fit.low, fit.high), TR_WHITE, 0.004);
    }
    free(pixels);
    free(light);
}

static void report(const char *name, const edge_totals *t) {
    print_message("%s: %d edges; towards black %.5f px, rms %.5f px, largest %.5f px; sigma %.4f "
                  "px; rms of fits %.5f\n",
                  name, t->n, t->sum_bleed / t->n, sqrt(t->sum2 / t->n), t->largest,
                  t->sum_sigma / t->n, t->largest_rms);
}

static void edges_lie_where_the_truth_says(void **state) {
    (void)state;
    tr_draw d = draw_seeded("edges of rendered marks");
    edge_totals t = {0};
    for (int i = 0; i < 6; i++) {
        stage s;
        double direction = draw_between(&d, 0, 2 * TR_PI);
        double aside_mm = draw_between(&d, 0, 320);
        set_up_stage(
            &s,
            tr_v3(aside_mm * cos(direction), aside_mm * sin(direction), draw_between(&d, 380, 460)),
            tr_v3(draw_between(&d, -25, 25), draw_between(&d, -25, 25), 0),
            draw_between(&d, -3, 3));
        measure_edges(&s, &t);
    }
    report("oblique views", &t);
    assert_true(t.n > 80);
    CHECK_NEAR(t.sum_bleed / t.n, 0, 0.0001);
    CHECK_AT_MOST(sqrt(t.sum2 / t.n), 0.0002);
    CHECK_AT_MOST(t.largest, 0.001);
}

/* Edges along the pixel rows, at all places between two rows: where sampling shows first. */
static void edges_along_rows_do_not_snap_to_pixels(void **state) {
    (void)state;
    edge_totals t = {0};
    for (int i = 0; i < 8; i++) {
        stage s;
        /* Straight above; shifted by an eighth of a pixel each time. */
        set_up_stage(&s, tr_v3(0.09 * i, 0.09 * i, 500), tr_v3(0.09 * i, 0.09 * i, 0), 0);
        s.scene.lens = lens_with(0, 0);
        memset(s.scene.lens.param + TR_K1, 0, 5 * sizeof(double));
        s.sheets[0].vehicle_from_sheet = tr_sheet_pose(TR_SHEET_MAT, tr_v3(0, 0, 0), 0, 0, 0);
        measure_edges(&s, &t);
    }
    report("edges along rows", &t);
    assert_true(t.n > 80);
    CHECK_NEAR(t.sum_bleed / t.n, 0, 0.0002);
    CHECK_AT_MOST(sqrt(t.sum2 / t.n), 0.0005);
    CHECK_AT_MOST(t.largest, 0.001);
}

static void bowed_and_stretched_prints_too(void **state) {
    (void)state;
    stage s;
    edge_totals t = {0};
    set_up_stage(&s, tr_v3(-250, 120, 380), tr_v3(0, 0, 0), 0.2);
    s.sheets[0].bow_mm[0] = 6;
    s.sheets[0].bow_mm[1] = -3;
    s.sheets[0].print_scale[0] = 0.004;
    s.sheets[0].print_scale[1] = -0.003;
    measure_edges(&s, &t);
    report("bowed sheet", &t);
    assert_true(t.n >= 12);
    CHECK_AT_MOST(sqrt(t.sum2 / t.n), 0.0002);
    CHECK_AT_MOST(t.largest, 0.001);
}

/* ---- phones and paper ---- */

/* As large as can be while the marks stay in view: ten times what a phone does. */
static void move_camera(stage *s) {
    s->cameras[0].shift_px = tr_v2(7.3, -4.1);
    s->cameras[0].focal = 0.004;
    s->cameras[0].turn_rad = tr_v3(0.009, -0.006, 0.011);
    s->cameras[0].travel_mm = tr_v3(4, -3, 2);
}

/* The edges lie where the model says, which is elsewhere. A wrong sign of any part moves them by
   pixels. */
static void edges_of_a_moving_camera(void **state) {
    (void)state;
    for (int is_portrait = 0; is_portrait < 2; is_portrait++) {
        stage s, still;
        edge_totals t = {0};
        set_up_stage(&still, tr_v3(-150, 80, 430), tr_v3(0, 0, 0), is_portrait ? 1.5 : 0.2);
        s = still;
        move_camera(&s);
        if (is_portrait) { /* read out along u */
            s.scene.lens.width_px = still.scene.lens.width_px = 600;
            s.scene.lens.height_px = still.scene.lens.height_px = 800;
            s.scene.lens.param[TR_CX] = still.scene.lens.param[TR_CX] = 297.1;
            s.scene.lens.param[TR_CY] = still.scene.lens.param[TR_CY] = 402.3;
        }
        s.scene.sheets = s.sheets;
        s.scene.cameras = s.cameras;
        s.sheets[0].sheet.tags = s.tags;
        s.sheets[0].sheet.corners_mm = s.corners_mm;
        measure_edges(&s, &t);
        double moved = 0;
        for (int k = 0; k < 4; k++) {
            tr_vec2 p = tr_tag_corner(&s.tags[0], k);
            moved = fmax(moved, tr_v2_norm(tr_v2_sub(project(&s, p), project(&still, p))));
        }
        print_message("moves a tag by up to %.2f px: ", moved);
        report("moving camera", &t);
        assert_true(moved > 5);
        assert_true(t.n >= 8);
        CHECK_AT_MOST(sqrt(t.sum2 / t.n), 0.0002);
        CHECK_AT_MOST(t.largest, 0.001);
    }
}

/* Marks over all parts of the relief: sides, corners, flat middle, waves. */
static void edges_on_lifted_sheets(void **state) {
    (void)state;
    for (int i = 0; i < 2; i++) {
        stage s;
        edge_totals t = {0};
        set_up_stage(&s, tr_v3(-200, 120, 400), tr_v3(0, 0, 0), 0.2);
        s.sheets[0].relief =
            (tr_relief){.side_mm = {3, -2, 2.5, 1}, .corner_mm = {4, 1, -2, 3}, .reach_mm = 140};
        if (i == 1) {
            s.sheets[0].relief.wave_mm = 1.5;
            s.sheets[0].relief.wave_rad_per_mm[0] = 0.02;
            s.sheets[0].relief.wave_rad_per_mm[1] = -0.013;
            s.sheets[0].relief.wave_rad = 0.4;
            s.sheets[0].bow_mm[0] = 3;
            s.sheets[0].print_scale[1] = 0.004;
            move_camera(&s);
        }
        measure_edges(&s, &t);
        report("lifted sheet", &t);
        assert_true(t.n >= 12);
        CHECK_AT_MOST(sqrt(t.sum2 / t.n), 0.0002);
        CHECK_AT_MOST(t.largest, 0.001);
    }
}

static void a_relief_changes_the_truth(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    int n = 0;
    set_up_stage(&s, tr_v3(-150, 60, 560), tr_v3(0, 0, 0), 0.2);
    s.sheets[0].relief = (tr_relief){.side_mm = {3, 0, 0, 0}, .reach_mm = 160};
    move_camera(&s);
    tr_seen *seen = tr_scene_truth(&s.scene, 0, &n, &err);
    assert_int_equal(n, 4 * 2 + 2);
    for (int k = 0; k < n; k++) {
        tr_vec2 uv = project(&s, seen[k].p_sheet_mm);
        assert_true(seen[k].is_visible);
        CHECK_NEAR(seen[k].uv_px.x, uv.x, 1e-6);
        CHECK_NEAR(seen[k].uv_px.y, uv.y, 1e-6);
    }
    free(seen);
}

static void ink_moves_edges_and_not_marks(void **state) {
    (void)state;
    stage s;
    edge_totals t = {0};
    set_up_stage(&s, tr_v3(-150, 80, 420), tr_v3(0, 0, 0), 0.3);
    s.sheets[0].ink_mm = 0.6;
    measure_edges(&s, &t);
    report("run ink", &t);
    assert_true(t.n >= 12);
    CHECK_AT_MOST(sqrt(t.sum2 / t.n), 0.0002);
    CHECK_AT_MOST(t.largest, 0.001);
}

static void inked_areas_are_exact(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    tr_face face;
    const double g = 0.7;
    set_up_stage(&s, tr_v3(0, 0, 400), tr_v3(0, 0, 0), 0);
    s.sheets[0].ink_mm = g;
    assert_true(tr_face_make(&s.sheets[0], &face, &err));
    /* Two squares of 40 mm that meet at a corner, where they overlap. */
    tr_vec2 c = s.corners_mm[0];
    const tr_vec2 about_corner[4] = {
        {c.x - 45, c.y + 45}, {c.x + 45, c.y + 45}, {c.x + 45, c.y - 45}, {c.x - 45, c.y - 45}};
    double black = 2 * (40 + 2 * g) * (40 + 2 * g) - 4 * g * g;
    CHECK_NEAR(tr_face_black_part(&face, about_corner), black / (90 * 90), 1e-12);
    CHECK_NEAR(tr_face_is_black(&face, tr_v2(c.x + 0.69, c.y + 0.69)), 1, 0);
    CHECK_NEAR(tr_face_is_black(&face, tr_v2(c.x + 0.71, c.y + 0.71)), 0, 0);
    /* A turned tag, against its cells asked point by point, each grown by itself. */
    const tr_tag *tag = &s.tags[1];
    tr_face plain;
    s.sheets[0].ink_mm = 0;
    assert_true(tr_face_make(&s.sheets[0], &plain, &err));
    enum { N = 500 };
    const double side = 115;
    long n_black = 0;
    const tr_vec2 quad[4] = {{tag->centre_mm.x - side, tag->centre_mm.y + side},
                             {tag->centre_mm.x + side, tag->centre_mm.y + side},
                             {tag->centre_mm.x + side, tag->centre_mm.y - side},
                             {tag->centre_mm.x - side, tag->centre_mm.y - side}};
    for (int i = 0; i < N * N; i++) {
        tr_vec2 p = tr_v2(quad[0].x + 2 * side * (i % N + 0.5) / N,
                          quad[2].y + 2 * side * (i / N + 0.5) / N);
        bool is_black = tr_face_is_black(&plain, p);
        for (int k = 0; k < 8 && !is_black; k++) {
            static const double AROUND[8][2] = {{1, 0},  {1, 1},   {0, 1},  {-1, 1},
                                                {-1, 0}, {-1, -1}, {0, -1}, {1, -1}};
            double x = g * AROUND[k][0];
            double y = g * AROUND[k][1];
            double co = cos(tag->turn_rad);
            double si = sin(tag->turn_rad);
            is_black =
                tr_face_is_black(&plain, tr_v2(p.x + co * x - si * y, p.y + si * x + co * y));
        }
        n_black += is_black;
        assert_int_equal(is_black, tr_face_is_black(&face, p));
    }
    CHECK_NEAR(tr_face_black_part(&face, quad), (double)n_black / (N * N), 1e-3);
    tr_face_release(&face);
    tr_face_release(&plain);
    /* More than half a cell of 20 mm. */
    s.sheets[0].ink_mm = 11;
    assert_false(tr_face_make(&s.sheets[0], &face, &err));
    assert_int_equal(err.code, TR_BAD_INPUT);
}

/* The spread is the box of a pixel and the Gaussian: variances add, 1/12 and sigma^2. Edges that
   run across both axes' kernels, and along one of them. */
/* Areas of discs: against whole ones, halves by symmetry, a segment's formula, and points asked one
   by one. */
static void areas_of_discs_are_exact(void **state) {
    (void)state;
    tr_error err = {0};
    tr_face face;
    tr_disc discs[2] = {{.centre_mm = {-100, 20}, .diameter_mm = 60},
                        {.centre_mm = {100, -10}, .diameter_mm = 60, .is_white = true}};
    tr_scene_sheet sheet = {
        .sheet = {.width_mm = 600, .height_mm = 400, .discs = discs, .n_discs = 2}, .ink_mm = 0.5};
    assert_true(tr_face_make(&sheet, &face, &err));
    const tr_vec2 black_all[4] = {{-140, 60}, {-60, 60}, {-60, -20}, {-140, -20}};
    CHECK_NEAR(tr_face_black_part(&face, black_all) * 80 * 80, TR_PI * 30.5 * 30.5, 1e-9);
    const tr_vec2 white_all[4] = {{40, 50}, {160, 50}, {160, -70}, {40, -70}};
    CHECK_NEAR(tr_face_black_part(&face, white_all) * 120 * 120, 91.0 * 91.0 - TR_PI * 29.5 * 29.5,
               1e-9);
    /* What lies right of x = centre + 10: r^2 acos(h / r) - h sqrt(r^2 - h^2). */
    const tr_vec2 segment[4] = {{-90, 60}, {-60, 60}, {-60, -20}, {-90, -20}};
    double r = 30.5;
    CHECK_NEAR(tr_face_black_part(&face, segment) * 30 * 80,
               r * r * acos(10 / r) - 10 * sqrt(r * r - 100), 1e-9);
    const tr_vec2 within[4] = {{-95, 22}, {-90, 23}, {-91, 15}, {-97, 14}};
    CHECK_NEAR(tr_face_black_part(&face, within), 1, 1e-12);
    const tr_vec2 askew[4] = {{-85, 55}, {-60, 40}, {-72, 5}, {-110, 12}};
    long n_black = 0;
    long n = 0;
    for (int i = 0; i < 1000; i++) {
        for (int j = 0; j < 1000; j++) {
            tr_vec2 p = tr_v2(-110 + 0.05 * (i + 0.5), 5 + 0.05 * (j + 0.5));
            bool is_in = true;
            for (int k = 0; k < 4; k++) {
                tr_vec2 side = tr_v2_sub(askew[(k + 1) % 4], askew[k]);
                is_in = is_in && tr_v2_cross(side, tr_v2_sub(p, askew[k])) <= 0;
            }
            n += is_in;
            n_black += is_in && tr_face_is_black(&face, p);
        }
    }
    CHECK_NEAR(tr_face_black_part(&face, askew), (double)n_black / (double)n, 2e-4);
    /* No pixel that is said to be clear of edges has both colours. */
    const double J[4] = {0.4, 0.1, -0.2, 1.3};
    for (int i = 0; i < 4000; i++) {
        tr_vec2 p = tr_v2(-140 + 0.02 * i, 60 - 0.017 * i);
        double clear = tr_face_clear_px(&face, p, J);
        for (int k = 0; k < 8; k++) {
            tr_vec2 q = tr_v2(0.99 * clear * cos(k * TR_PI / 4), 0.99 * clear * sin(k * TR_PI / 4));
            q = tr_v2(p.x + J[0] * q.x + J[1] * q.y, p.y + J[2] * q.x + J[3] * q.y);
            assert_int_equal(tr_face_is_black(&face, p), tr_face_is_black(&face, q));
        }
    }
    tr_face_release(&face);
}

static void blur_is_as_wide_as_it_says(void **state) {
    (void)state;
    static const double BLURS[] = {0.5, 0.8, 1.5};
    for (int i = 0; i < 3; i++) {
        stage s;
        edge_totals t = {0};
        set_up_stage(&s, tr_v3(-250, 120, 380), tr_v3(0, 0, 0), 0.2);
        s.cameras[0].imaging.blur_px[0] = BLURS[i];
        s.cameras[0].imaging.blur_px[1] = BLURS[i];
        measure_edges(&s, &t);
        double expected = sqrt(BLURS[i] * BLURS[i] + 1.0 / 12);
        CHECK_NEAR(t.sum_sigma / t.n, expected, 0.01 * expected);
        CHECK_AT_MOST(t.largest, 0.005);
    }
}

/* ---- what is printed ---- */

static uint8_t grey_at(const tr_image *image, tr_vec2 uv) {
    return image->px[(long)lrint(uv.y) * image->width + lrint(uv.x)];
}

/* Cells of the code, row by row from the top left, white = 1, in the tag's own frame. */
static uint64_t code_of(const stage *s, const tr_image *image, const tr_tag *tag) {
    uint64_t code = 0;
    for (int r = 0; r < 6; r++) {
        for (int c = 0; c < 6; c++) {
            double x = (c - 2.5) * tag->size_mm / 8, y = (2.5 - r) * tag->size_mm / 8;
            double co = cos(tag->turn_rad), si = sin(tag->turn_rad);
            tr_vec2 p =
                tr_v2(tag->centre_mm.x + co * x - si * y, tag->centre_mm.y + si * x + co * y);
            code = code << 1 | (grey_at(image, project(s, p)) > 115 ? 1 : 0);
        }
    }
    return code;
}

static void tags_are_the_familys_official_images(void **state) {
    (void)state;
    /* Of ids 0, 1, 2 as in AprilRobotics/apriltag's tag36h11.c before version 3, which read the
       official images row by row. */
    static const uint64_t CODES[] = {0xd5d628584, 0xd97f18b49, 0xdd280910e};
    for (int id = 0; id < 3; id++) {
        stage s;
        tr_error err = {0};
        tr_image image;
        set_up_stage(&s, tr_v3(-100, 30, 500), tr_v3(0, 0, 0), 0.3);
        s.tags[0].id = id;
        s.tags[1].id = id;
        assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
        assert_int_equal(code_of(&s, &image, &s.tags[0]), CODES[id]);
        assert_int_equal(code_of(&s, &image, &s.tags[1]), CODES[id]);
        /* Border black, rim white. */
        for (int k = 0; k < 4; k++) {
            tr_vec2 out = tr_v2_sub(tr_tag_corner(&s.tags[0], k), s.tags[0].centre_mm);
            tr_vec2 c = s.tags[0].centre_mm;
            assert_true(grey_at(&image, project(&s, tr_v2_add(c, tr_v2_scale(0.88, out)))) < 60);
            assert_true(grey_at(&image, project(&s, tr_v2_add(c, tr_v2_scale(1.12, out)))) > 180);
        }
        tr_image_release(&image);
    }
}

/* Another program's eyes: ids, the order of the corners, the origin of its pixels. */
static void libapriltag_finds_the_tags_at_their_places(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    tr_image image;
    int n = 0;
    set_up_stage(&s, tr_v3(-150, 60, 420), tr_v3(0, 0, 0), -0.4);
    s.scene.lens = lens_with(0, 0);
    memset(s.scene.lens.param + TR_K1, 0, 5 * sizeof(double));
    assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
    tr_seen *truth = tr_scene_truth(&s.scene, 0, &n, &err);
    assert_int_equal(n, 2 * 4 + 2);
    apriltag_family_t *family = tag36h11_create();
    apriltag_detector_t *detector = apriltag_detector_create();
    apriltag_detector_add_family(detector, family);
    detector->quad_decimate = 1;
    image_u8_t view = {.width = WIDTH, .height = HEIGHT, .stride = WIDTH, .buf = image.px};
    zarray_t *found = apriltag_detector_detect(detector, &view);
    assert_int_equal(zarray_size(found), 2);
    tr_vec2 sum = {0, 0};
    for (int i = 0; i < 2; i++) {
        apriltag_detection_t *tag;
        zarray_get(found, i, &tag);
        int index = tag->id == 123 ? 1 : 0;
        assert_int_equal(tag->id, s.tags[index].id);
        for (int k = 0; k < 4; k++) {
            tr_seen *seen = &truth[4 * index + k];
            assert_true(seen->is_visible);
            /* Its (0, 0) is the outer corner of the first pixel (published: issue 121 there). */
            CHECK_NEAR(tag->p[k][0] - 0.5, seen->uv_px.x, 0.6);
            CHECK_NEAR(tag->p[k][1] - 0.5, seen->uv_px.y, 0.6);
            sum = tr_v2_add(
                sum, tr_v2(tag->p[k][0] - 0.5 - seen->uv_px.x, tag->p[k][1] - 0.5 - seen->uv_px.y));
        }
    }
    CHECK_NEAR(sum.x / 8, 0, 0.1);
    CHECK_NEAR(sum.y / 8, 0, 0.1);
    apriltag_detections_destroy(found);
    apriltag_detector_destroy(detector);
    tag36h11_destroy(family);
    free(truth);
    tr_image_release(&image);
}

static void checkerboards_have_a_black_top_left_square(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    tr_image image;
    set_up_stage(&s, tr_v3(0, 0, 500), tr_v3(0, 0, 0), 0);
    assert_true(tr_checkerboard("B-1", TR_SHEET_MAT, 10, 7, 40, 20, &s.sheets[0], &err));
    s.sheets[0].vehicle_from_sheet = tr_sheet_pose(TR_SHEET_MAT, tr_v3(0, 0, 0), 0, 0, 0);
    const tr_sheet *sheet = &s.sheets[0].sheet;
    assert_int_equal(sheet->n_corners, 9 * 6);
    CHECK_NEAR(sheet->corners_mm[0].x, -160, 0);
    CHECK_NEAR(sheet->corners_mm[0].y, 100, 0);
    CHECK_NEAR(sheet->corners_mm[53].x, 160, 0);
    CHECK_NEAR(sheet->corners_mm[53].y, -100, 0);
    assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
    for (int i = 0; i < 70; i++) {
        tr_vec2 middle = tr_v2((i % 10 - 4.5) * 40, (3 - i / 10) * 40);
        bool is_black = grey_at(&image, project(&s, middle)) < 60;
        assert_int_equal(is_black, (i % 10 + i / 10) % 2 == 0);
    }
    tr_image_release(&image);
    tr_sheet_release(&s.sheets[0].sheet);
}

/* ---- poses and truth ---- */

static void check_direction(tr_pose vehicle_from_sheet, tr_vec3 sheet, double x, double y,
                            double z) {
    tr_vec3 v = tr_m3_apply(vehicle_from_sheet.R, sheet);
    CHECK_NEAR(v.x, x, 1e-12);
    CHECK_NEAR(v.y, y, 1e-12);
    CHECK_NEAR(v.z, z, 1e-12);
}

static void sheets_lie_as_the_contract_says(void **state) {
    (void)state;
    tr_vec3 o = tr_v3(0, 0, 0);
    tr_vec3 right = tr_v3(1, 0, 0), up = tr_v3(0, 1, 0), out = tr_v3(0, 0, 1);
    tr_pose mat = tr_sheet_pose(TR_SHEET_MAT, o, 0, 0, 0);
    check_direction(mat, up, 1, 0, 0);
    check_direction(mat, right, 0, -1, 0);
    check_direction(mat, out, 0, 0, 1);
    /* Anticlockwise seen from above: up turns to the vehicle's left. */
    check_direction(tr_sheet_pose(TR_SHEET_PLATE, o, TR_PI / 2, 0, 0), up, 0, 1, 0);
    tr_pose board = tr_sheet_pose(TR_SHEET_BOARD, o, 0, 0, 0);
    check_direction(board, out, -1, 0, 0);
    check_direction(board, up, 0, 0, 1);
    check_direction(board, right, 0, -1, 0);
    check_direction(tr_sheet_pose(TR_SHEET_BOARD, o, TR_PI, 0, 0), out, 1, 0, 0);
}

static void cameras_look_where_they_are_pointed(void **state) {
    (void)state;
    tr_pose pose = tr_camera_pose(tr_v3(-1000, 0, 1000), tr_v3(0, 0, 0), 0);
    tr_vec3 ahead = tr_m3_apply(pose.R, tr_v3(0, 0, 1));
    CHECK_NEAR(ahead.x, sqrt(0.5), 1e-12);
    CHECK_NEAR(ahead.z, -sqrt(0.5), 1e-12);
    CHECK_NEAR(tr_m3_apply(pose.R, tr_v3(1, 0, 0)).y, -1, 1e-12); /* right: the vehicle's right */
    assert_true(tr_m3_apply(pose.R, tr_v3(0, 1, 0)).z < 0);       /* down is down */
    /* Turned clockwise by a quarter: what was down is now the image's left ... */
    tr_pose rolled = tr_camera_pose(tr_v3(-1000, 0, 1000), tr_v3(0, 0, 0), TR_PI / 2);
    assert_true(tr_m3_apply(rolled.R, tr_v3(1, 0, 0)).z < -0.7); /* ... and its right is down */
}

static void what_stands_before_a_mark_hides_it(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    int n = 0;
    set_up_stage(&s, tr_v3(0, 0, 500), tr_v3(0, 0, 0), 0);
    s.sheets[0].vehicle_from_sheet = tr_sheet_pose(TR_SHEET_MAT, tr_v3(0, 0, 0), 0, 0, 0);
    /* A post over the left half of the sheet, where tag 0 is: y from 40 to 300. */
    s.solids[0] = (tr_solid){.outline_xz_mm = {{-150, 10}, {150, 10}, {150, 20}, {-150, 20}},
                             .n_outline = 4,
                             .y_mm = {40, 300},
                             .reflectance = 0.1};
    s.scene.solids = s.solids;
    s.scene.n_solids = 1;
    tr_seen *truth = tr_scene_truth(&s.scene, 0, &n, &err);
    for (int k = 0; k < n; k++) {
        assert_true(truth[k].is_projected);
        assert_int_equal(truth[k].is_visible, truth[k].p_sheet_mm.x > -50);
    }
    free(truth);
    /* From below the floor the face is not seen; from afar it leaves the image. */
    s.scene.n_solids = 0;
    s.cameras[0].vehicle_from_camera = tr_camera_pose(tr_v3(0, 0, -400), tr_v3(0, 0, 0), 0);
    truth = tr_scene_truth(&s.scene, 0, &n, &err);
    for (int k = 0; k < n; k++) assert_false(truth[k].is_visible);
    free(truth);
    s.cameras[0].vehicle_from_camera = tr_camera_pose(tr_v3(0, 0, 400), tr_v3(900, 0, 0), 0);
    truth = tr_scene_truth(&s.scene, 0, &n, &err);
    for (int k = 0; k < n; k++) assert_false(truth[k].is_visible);
    free(truth);
}

/* ---- imaging ---- */

static void same_scene_same_bytes(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    tr_image a, b;
    set_up_stage(&s, tr_v3(-150, 60, 420), tr_v3(0, 0, 0), 0);
    s.scene.floor_texture = 1;
    s.cameras[0].imaging.noise_sd = 3;
    s.cameras[0].imaging.seed = 7;
    assert_true(tr_scene_photo(&s.scene, 0, &a, NULL, &err));
    assert_true(tr_scene_photo(&s.scene, 0, &b, NULL, &err));
    assert_memory_equal(a.px, b.px, WIDTH * HEIGHT);
    tr_image_release(&b);
    s.cameras[0].imaging.seed = 8;
    assert_true(tr_scene_photo(&s.scene, 0, &b, NULL, &err));
    assert_memory_not_equal(a.px, b.px, WIDTH * HEIGHT);
    tr_image_release(&a);
    tr_image_release(&b);
}

/* Mean and sd of a square of the floor, where nothing is printed. */
static void floor_statistics(const stage *s, double *mean, double *sd) {
    tr_error err = {0};
    tr_image image;
    double sum = 0, sum2 = 0;
    assert_true(tr_scene_photo(&s->scene, 0, &image, NULL, &err));
    for (int i = 0; i < 10000; i++) {
        double g = image.px[(long)(i / 100) * WIDTH + i % 100];
        sum += g;
        sum2 += g * g;
    }
    *mean = sum / 10000;
    *sd = sqrt(sum2 / 10000 - *mean * *mean);
    tr_image_release(&image);
}

static void tone_noise_and_light_are_as_told(void **state) {
    (void)state;
    stage s;
    double mean, sd;
    set_up_stage(&s, tr_v3(0, 0, 900), tr_v3(0, 0, 0), 0);
    tr_imaging *imaging = &s.cameras[0].imaging;
    floor_statistics(&s, &mean, &sd);
    CHECK_NEAR(mean, round(0.3 * 255), 0);
    CHECK_NEAR(sd, 0, 0);
    imaging->noise_sd = 4;
    floor_statistics(&s, &mean, &sd);
    CHECK_NEAR(mean, 0.3 * 255, 0.15);
    CHECK_NEAR(sd, sqrt(16 + 1.0 / 12), 0.1);
    imaging->noise_sd = 0;
    /* IEC 61966-2-1: 0.3 is coded 0.5838. */
    imaging->tone = TR_TONE_SRGB;
    floor_statistics(&s, &mean, &sd);
    CHECK_NEAR(mean, 0.5838 * 255, 0.5);
    imaging->tone = TR_TONE_S_CURVE;
    floor_statistics(&s, &mean, &sd);
    CHECK_NEAR(mean, 0.5838 * 0.5838 * (3 - 2 * 0.5838) * 255, 0.7);
    imaging->tone = TR_TONE_LINEAR;
    imaging->exposure = 0.5;
    floor_statistics(&s, &mean, &sd);
    CHECK_NEAR(mean, round(0.15 * 255), 0);
    imaging->exposure = 1;
    s.shadows[0] = (tr_shadow){
        .corner_mm = {{0, 0}, {1, 0}}, .n_corners = 2, .softness_mm = 50, .strength = 0.4};
    s.scene.shadows = s.shadows;
    s.scene.n_shadows = 1;
    /* The image's top left looks forward and left: X > 0 and Y > 0, left of the line along X. */
    floor_statistics(&s, &mean, &sd);
    CHECK_NEAR(mean, round(0.6 * 0.3 * 255), 0);
    s.shadows[0].corner_mm[1] = tr_v2(-1, 0);
    floor_statistics(&s, &mean, &sd);
    CHECK_NEAR(mean, round(0.3 * 255), 0);
}

/* Sharpening overshoots on both sides of an edge, and leaves even areas alone. */
static void sharpening_overshoots(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    tr_image image;
    set_up_stage(&s, tr_v3(-100, 30, 400), tr_v3(0, 0, 0), 0);
    s.cameras[0].imaging.sharpen = 0.8;
    s.cameras[0].imaging.sharpen_radius_px = 1;
    assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
    uint8_t low = 255, high = 0;
    for (long i = 0; i < (long)WIDTH * HEIGHT; i++) {
        low = image.px[i] < low ? image.px[i] : low;
        high = image.px[i] > high ? image.px[i] : high;
    }
    assert_true(low < TR_BLACK * 255 - 5);
    assert_true(high > TR_WHITE * 255 + 15);
    CHECK_NEAR(image.px[0], 0.3 * 255, 0.6);
    tr_image_release(&image);
}

/* How far a point about which the image looks the same when turned by half a turn lies from uv:
   linear least squares over a window, I(uv + d) - I(uv - d) = 2 offset . grad I. */
static tr_vec2 off_symmetry(const tr_image *image, tr_vec2 uv) {
    const int reach = 14;
    int u0 = (int)lrint(uv.x), v0 = (int)lrint(uv.y);
    double A[3] = {0}, b[2] = {0};
    for (int v = -reach; v <= reach; v++) {
        for (int u = -reach; u <= reach; u++) {
            long at = (long)(v0 + v) * image->width + u0 + u;
            long across = (long)(v0 - v) * image->width + u0 - u;
            double gu = (image->px[at + 1] - image->px[at - 1]) / 2.0;
            double gv = (image->px[at + image->width] - image->px[at - image->width]) / 2.0;
            double r = image->px[across] - image->px[at];
            A[0] += gu * gu;
            A[1] += gu * gv;
            A[2] += gv * gv;
            b[0] += gu * r / 2;
            b[1] += gv * r / 2;
        }
    }
    double det = A[0] * A[2] - A[1] * A[1];
    return tr_v2((A[2] * b[0] - A[1] * b[1]) / det, (A[0] * b[1] - A[1] * b[0]) / det);
}

/* A checker corner in the middle of a pixel, seen straight from above, at some roll. */
static void set_up_corner(stage *s, double roll_rad) {
    set_up_stage(s, tr_v3(0, 0, 400), tr_v3(0, 0, 0), roll_rad);
    s->sheets[0].vehicle_from_sheet = tr_sheet_pose(TR_SHEET_MAT, tr_v3(0, 0, 0), 0, 0, 0);
    s->sheets[0].sheet.n_tags = 0;
    s->sheets[0].sheet.n_corners = 1;
    s->corners_mm[0] = tr_v2(0, 0);
    memset(s->scene.lens.param + TR_K1, 0, 5 * sizeof(double));
    s->scene.lens.param[TR_FY] = s->scene.lens.param[TR_FX];
    s->scene.lens.param[TR_CX] = 402;
    s->scene.lens.param[TR_CY] = 297;
}

static void development_leaves_symmetric_marks_in_place(void **state) {
    (void)state;
    for (int i = 0; i < 12; i++) {
        stage s;
        tr_error err = {0};
        tr_image image;
        set_up_corner(&s, 0.3 + 0.2 * i);
        tr_imaging *m = &s.cameras[0].imaging;
        m->tone = i % 2 ? TR_TONE_S_CURVE : TR_TONE_SRGB;
        double allowed_px = 0.003;
        if (i / 2 == 1) s.sheets[0].ink_mm = 0.6;
        if (i / 2 == 2) m->sharpen = 2, m->sharpen_radius_px = i % 2 ? 0.7 : 2.5;
        if (i / 2 == 3) m->local_contrast = 0.4, m->local_radius_px = i % 2 ? 12 : 60;
        if (i / 2 >= 4) {
            m->raw_noise_sd = 3;
            m->denoise_radius_px = 1.5;
            allowed_px = 0.02;
        }
        if (i / 2 == 5) m->local_contrast = 0.25, m->local_radius_px = 40, m->sharpen = 0.8;
        m->sharpen_radius_px = m->sharpen_radius_px > 0 ? m->sharpen_radius_px : 1;
        m->seed = 7 + (uint64_t)i;
        assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
        tr_vec2 off = off_symmetry(&image, tr_v2(402, 297));
        print_message("development %d: off by %.4f, %.4f px\n", i, off.x, off.y);
        CHECK_AT_MOST(tr_v2_norm(off), allowed_px);
        tr_image_release(&image);
    }
    /* It does see a tenth of a pixel. */
    stage s;
    tr_error err = {0};
    tr_image image;
    set_up_corner(&s, 0.3);
    s.cameras[0].shift_px = tr_v2(0.1, -0.06);
    assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
    tr_vec2 off = off_symmetry(&image, tr_v2(402, 297));
    CHECK_NEAR(off.x, 0.1, 0.01);
    CHECK_NEAR(off.y, -0.06, 0.01);
    tr_image_release(&image);
}

/* Of a wide field of floor beside a small one of paper: the step between far apart places shrinks,
   that between near ones grows, and nothing changes in sense. */
static void local_tone_mapping_shrinks_and_sharpens(void **state) {
    (void)state;
    tr_error err = {0};
    uint8_t far[2][2], near[2][2];
    for (int i = 0; i < 2; i++) {
        stage s;
        tr_image image;
        set_up_corner(&s, 0);
        s.sheets[0].sheet.n_corners = 0;
        s.sheets[0].sheet.width_mm = 240; /* 420 px of paper on dark floor */
        s.scene.floor_reflectance = 0.2;
        if (i == 1) {
            s.cameras[0].imaging.local_contrast = 0.3;
            s.cameras[0].imaging.local_radius_px = 20;
        }
        assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
        int side_u = 402 - (int)(120 * s.scene.lens.param[TR_FX] / 400);
        for (int k = 0; k < 2; k++) {
            far[i][k] = grey_at(&image, tr_v2(side_u + (k ? 120 : -120), 297));
            near[i][k] = grey_at(&image, tr_v2(side_u + (k ? 4 : -4), 297));
        }
        tr_image_release(&image);
    }
    /* 0.5 + 0.7 (c - 0.5) where the base is c itself. */
    for (int k = 0; k < 2; k++) {
        CHECK_NEAR(far[1][k], 0.7 * far[0][k] + 0.3 * 127.5, 1.5);
    }
    int step = near[0][1] - near[0][0];
    assert_true(near[1][1] - near[1][0] > step + step / 10);
    assert_true(near[1][1] > far[1][1] && near[1][0] < far[1][0]);
}

static void denoising_smoothes_and_keeps_edges(void **state) {
    (void)state;
    tr_error err = {0};
    double sd[2], next[2];
    for (int i = 0; i < 2; i++) {
        stage s;
        tr_image image;
        set_up_corner(&s, 0.3);
        s.sheets[0].sheet.width_mm = 200; /* floor in the image's corner */
        s.sheets[0].sheet.height_mm = 160;
        tr_imaging *m = &s.cameras[0].imaging;
        m->raw_noise_sd = 4;
        m->denoise_radius_px = i == 0 ? 0 : 1.5;
        assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
        double sum = 0, sum2 = 0, sum_next = 0;
        for (int v = 10; v < 110; v++) {
            for (int u = 10; u < 110; u++) {
                double c = image.px[v * WIDTH + u] - 0.3 * 255;
                sum += c;
                sum2 += c * c;
                sum_next += c * (image.px[v * WIDTH + u + 1] - 0.3 * 255);
            }
        }
        CHECK_NEAR(sum / 10000, 0, 0.2);
        sd[i] = sqrt(sum2 / 10000);
        next[i] = sum_next / sum2;
        /* Ink and paper some px from the corner: as they were. */
        double corner[2] = {0, 0};
        for (int k = 0; k < 4; k++) {
            double a = 0.3 + TR_PI / 4 + k * TR_PI / 2;
            corner[k % 2] += grey_at(&image, tr_v2(402 + 6 * cos(a), 297 + 6 * sin(a))) / 2.0;
        }
        CHECK_NEAR(fmin(corner[0], corner[1]), TR_BLACK * 255, 12);
        CHECK_NEAR(fmax(corner[0], corner[1]), TR_WHITE * 255, 12);
        tr_image_release(&image);
    }
    print_message("noise sd %.2f, denoised %.2f; from pixel to pixel %.2f, %.2f\n", sd[0], sd[1],
                  next[0], next[1]);
    CHECK_NEAR(sd[0], 4, 0.15);
    CHECK_AT_MOST(sd[1], 2);
    CHECK_NEAR(next[0], 0, 0.05);
    assert_true(next[1] > 0.2);
}

static void colour_files_hold_the_grey_image(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    tr_image image, back;
    uint8_t *data = NULL;
    size_t size = 0;
    set_up_stage(&s, tr_v3(-100, 30, 400), tr_v3(0, 0, 0), 0);
    s.scene.floor_tint[0] = -20;
    s.cameras[0].imaging.is_colour = true;
    s.cameras[0].imaging.jpeg_quality = 100;
    char path[] = "/tmp/test-render-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    assert_true(tr_scene_photo_write(&s.scene, 0, path, &err));
    assert_true(tr_scene_photo(&s.scene, 0, &image, NULL, &err));
    assert_true(tr_file_read(path, 10000000, &data, &size, &err));
    assert_true(tr_image_decode(data, size, path, &back, &err));
    double sum = 0;
    for (long i = 0; i < (long)WIDTH * HEIGHT; i++) {
        int off = abs(image.px[i] - back.px[i]);
        assert_true(off <= 2);
        sum += off;
    }
    CHECK_AT_MOST(sum / ((double)WIDTH * HEIGHT), 0.3);
    free(data);
    tr_image_release(&image);
    tr_image_release(&back);
    remove(path);
}

static void a_missing_camera_is_an_error(void **state) {
    (void)state;
    stage s;
    tr_error err = {0};
    tr_image image;
    set_up_stage(&s, tr_v3(-100, 30, 400), tr_v3(0, 0, 0), 0);
    assert_false(tr_scene_photo(&s.scene, 1, &image, NULL, &err));
    assert_int_equal(err.code, TR_BAD_INPUT);
}

/* ---- files ---- */

static char *in_source(const char *path) {
    const char *source = getenv("TRAMMEL_SOURCE");
    size_t size = strlen(path) + (source ? strlen(source) : 0) + 2;
    char *whole = malloc(size);
    assert_non_null(whole);
    snprintf(whole, size, "%s/%s", source ? source : ".", path);
    return whole;
}

static void the_demo_scene_is_read_and_its_truth_written(void **state) {
    (void)state;
    tr_scene scene;
    tr_error err = {0};
    char *path = in_source("testimages/demo-fail.scene.yaml");
    assert_true(tr_scene_read(path, &scene, &err));
    free(path);
    assert_int_equal(scene.n_sheets, 5);
    assert_int_equal(scene.n_cameras, 7);
    CHECK_NEAR(scene.sheets[0].vehicle_from_sheet.t_mm.x, -1814, 0);
    char truth_path[] = "/tmp/test-render-XXXXXX";
    int fd = mkstemp(truth_path);
    assert_true(fd >= 0);
    close(fd);
    assert_true(tr_scene_truth_write(&scene, truth_path, &err));
    json_t *truth = json_load_file(truth_path, 0, NULL);
    assert_non_null(truth);
    json_t *mat = json_array_get(json_object_get(truth, "sheets"), 0);
    CHECK_NEAR(json_number_value(json_object_get(mat, "x_mm")), -1814, 1e-9);
    CHECK_NEAR(json_number_value(json_object_get(mat, "y_mm")), 4, 1e-9);
    CHECK_NEAR(json_number_value(json_object_get(mat, "yaw_deg")), 0.8, 1e-9);
    CHECK_NEAR(json_number_value(json_object_get(mat, "pitch_deg")), -0.042, 1e-9);
    CHECK_NEAR(json_number_value(json_object_get(mat, "roll_deg")), 0.096, 1e-9);
    json_t *photo = json_array_get(json_object_get(truth, "photos"), 3);
    assert_string_equal(json_string_value(json_object_get(photo, "file")), "4.jpg");
    /* 8 tags and 12 corners of the mat, a tag and 4 corners of each plate. */
    json_t *marks = json_object_get(photo, "marks");
    assert_int_equal(json_array_size(marks), 4 * 8 + 12 + 4 * (4 + 4));
    /* The same points as tr_scene_truth tells. */
    int n = 0;
    tr_seen *seen = tr_scene_truth(&scene, 3, &n, &err);
    assert_int_equal(n, json_array_size(marks));
    for (int i = 0; i < n; i++) {
        json_t *mark = json_array_get(marks, (size_t)i);
        json_t *px = json_object_get(mark, "px");
        assert_int_equal(seen[i].is_projected, json_is_array(px));
        assert_int_equal(seen[i].is_visible, json_is_true(json_object_get(mark, "visible")));
        if (!seen[i].is_projected) continue;
        CHECK_NEAR(json_number_value(json_array_get(px, 0)), seen[i].uv_px.x, 1e-6);
        CHECK_NEAR(json_number_value(json_array_get(px, 1)), seen[i].uv_px.y, 1e-6);
    }
    free(seen);
    json_decref(truth);
    remove(truth_path);
    tr_scene_release(&scene);
}

static void check_bad_scene(const char *text, const char *key, int line) {
    tr_scene scene;
    tr_error err = {0};
    char path[] = "/tmp/test-render-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    assert_true(tr_file_write(path, text, strlen(text), &err));
    assert_false(tr_scene_read(path, &scene, &err));
    assert_string_equal(err.key, key);
    assert_int_equal(err.line, line);
    assert_null(scene.sheets);
    assert_null(scene.cameras);
    remove(path);
}

/* Each key of a phone and of paper that is not flat, read and told again. */
static void a_scene_file_has_all_that_a_phone_does(void **state) {
    (void)state;
    char *lens = in_source("testimages/lens/demo-phone-true.yaml");
    char *text = NULL;
    size_t size = 0;
    FILE *to = open_memstream(&text, &size);
    assert_non_null(to);
    fprintf(to,
            "scene: A\nlens: %s\nsheets:\n"
            "  - checkerboard: { id: B, squares: [4, 3], pitch_mm: 40, margin_mm: 30 }\n"
            "    x_mm: 1\n    y_mm: 2\n    ink_mm: 0.2\n"
            "    relief: { sides_mm: [1, 2, 3, 4], corners_mm: [5, 6, 7, 8], reach_mm: 60,\n"
            "      wave_mm: 0.5, wave_length_mm: 800, wave_deg: 30, wave_phase_deg: 90 }\n"
            "imaging: { raw_noise_sd: 3, denoise_radius_px: 1.2, local_contrast: 0.3,\n"
            "  local_radius_px: 50 }\n"
            "cameras:\n  - { photo: 1.jpg, at_mm: [-900, 0, 0], look_at_mm: [0, 0, 0],\n"
            "      shift_px: [4, -6], focal: 0.001, turn_deg: [0.1, 0.2, -0.3],\n"
            "      travel_mm: [0.4, 0.5, -0.6] }\n",
            lens);
    assert_int_equal(fclose(to), 0);
    free(lens);
    tr_scene scene;
    tr_error err = {0};
    char path[] = "/tmp/test-render-XXXXXX";
    int fd = mkstemp(path);
    assert_true(fd >= 0);
    close(fd);
    assert_true(tr_file_write(path, text, strlen(text), &err));
    if (!tr_scene_read(path, &scene, &err)) fail_msg("%d: %s %s", err.line, err.key, err.text);
    const tr_scene_sheet *sheet = &scene.sheets[0];
    CHECK_NEAR(sheet->ink_mm, 0.2, 0);
    for (int k = 0; k < 4; k++) {
        CHECK_NEAR(sheet->relief.side_mm[k], 1 + k, 0);
        CHECK_NEAR(sheet->relief.corner_mm[k], 5 + k, 0);
    }
    CHECK_NEAR(sheet->relief.reach_mm, 60, 0);
    CHECK_NEAR(sheet->relief.wave_mm, 0.5, 0);
    CHECK_NEAR(sheet->relief.wave_rad_per_mm[0], 2 * TR_PI / 800 * sqrt(0.75), 1e-15);
    CHECK_NEAR(sheet->relief.wave_rad_per_mm[1], TR_PI / 800, 1e-15);
    CHECK_NEAR(sheet->relief.wave_rad, TR_PI / 2, 1e-15);
    const tr_scene_camera *c = &scene.cameras[0];
    CHECK_NEAR(c->shift_px.x, 4, 0);
    CHECK_NEAR(c->shift_px.y, -6, 0);
    CHECK_NEAR(c->focal, 0.001, 0);
    CHECK_NEAR(c->turn_rad.x, 0.1 * TR_RAD_PER_DEG, 1e-15);
    CHECK_NEAR(c->turn_rad.y, 0.2 * TR_RAD_PER_DEG, 1e-15);
    CHECK_NEAR(c->turn_rad.z, -0.3 * TR_RAD_PER_DEG, 1e-15);
    CHECK_NEAR(c->travel_mm.x, 0.4, 0);
    CHECK_NEAR(c->travel_mm.y, 0.5, 0);
    CHECK_NEAR(c->travel_mm.z, -0.6, 0);
    CHECK_NEAR(c->imaging.raw_noise_sd, 3, 0);
    CHECK_NEAR(c->imaging.denoise_radius_px, 1.2, 0);
    CHECK_NEAR(c->imaging.local_contrast, 0.3, 0);
    CHECK_NEAR(c->imaging.local_radius_px, 50, 0);
    assert_true(tr_scene_truth_write(&scene, path, &err));
    json_t *truth = json_load_file(path, 0, NULL);
    json_t *photo = json_array_get(json_object_get(truth, "photos"), 0);
    json_t *told = json_array_get(json_object_get(truth, "sheets"), 0);
    CHECK_NEAR(json_number_value(json_array_get(json_object_get(photo, "turn_deg"), 2)), -0.3,
               1e-12);
    CHECK_NEAR(json_number_value(json_array_get(json_object_get(photo, "shift_px"), 1)), -6, 0);
    CHECK_NEAR(json_number_value(json_array_get(
                   json_object_get(json_object_get(told, "relief"), "corners_mm"), 3)),
               8, 0);
    json_decref(truth);
    tr_scene_release(&scene);
    remove(path);
    free(text);
}

static void a_bad_scene_file_is_named_with_its_line(void **state) {
    (void)state;
    check_bad_scene("scene: A\nlens: nowhere.yaml\nsheets: []\ncameras: []\n", "lens", 2);
    check_bad_scene("scene: A\nlens: nowhere.yaml\nlight: 1\nsheets: []\ncameras: []\n", "light",
                    3);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(edges_lie_where_the_truth_says),
        cmocka_unit_test(edges_along_rows_do_not_snap_to_pixels),
        cmocka_unit_test(bowed_and_stretched_prints_too),
        cmocka_unit_test(edges_of_a_moving_camera),
        cmocka_unit_test(edges_on_lifted_sheets),
        cmocka_unit_test(a_relief_changes_the_truth),
        cmocka_unit_test(ink_moves_edges_and_not_marks),
        cmocka_unit_test(inked_areas_are_exact),
        cmocka_unit_test(areas_of_discs_are_exact),
        cmocka_unit_test(blur_is_as_wide_as_it_says),
        cmocka_unit_test(tags_are_the_familys_official_images),
        cmocka_unit_test(libapriltag_finds_the_tags_at_their_places),
        cmocka_unit_test(checkerboards_have_a_black_top_left_square),
        cmocka_unit_test(sheets_lie_as_the_contract_says),
        cmocka_unit_test(cameras_look_where_they_are_pointed),
        cmocka_unit_test(what_stands_before_a_mark_hides_it),
        cmocka_unit_test(same_scene_same_bytes),
        cmocka_unit_test(tone_noise_and_light_are_as_told),
        cmocka_unit_test(sharpening_overshoots),
        cmocka_unit_test(development_leaves_symmetric_marks_in_place),
        cmocka_unit_test(local_tone_mapping_shrinks_and_sharpens),
        cmocka_unit_test(denoising_smoothes_and_keeps_edges),
        cmocka_unit_test(colour_files_hold_the_grey_image),
        cmocka_unit_test(a_missing_camera_is_an_error),
        cmocka_unit_test(the_demo_scene_is_read_and_its_truth_written),
        cmocka_unit_test(a_scene_file_has_all_that_a_phone_does),
        cmocka_unit_test(a_bad_scene_file_is_named_with_its_line),
    };
    return cmocka_run_group_tests_name("render", tests, NULL, NULL);
}
