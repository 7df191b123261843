/* Simulated marks with a phone's effects, against the model as phone.h states it, written out here
   once more, and against the renderer, which has it for itself. */
#include "check.h"

#include <string.h>

#include "tools/render/render.h"
#include "tools/simulate/survey_sim.h"

static void simulate(const tr_sim_options *options, tr_sim *out) {
    tr_error err = {0};
    if (!tr_simulate(options, out, &err)) fail_msg("%s", err.text);
}

/* ---- the camera ---- */

/* s of a pixel: the sensor's rows run along the photo's long side. */
static double part_of_frame(const tr_lens *lens, tr_vec2 uv) {
    double w = lens->width_px;
    double h = lens->height_px;
    return w >= h ? (uv.y - (h - 1) / 2) / h : (uv.x - (w - 1) / 2) / w;
}

/* Where P is seen in the row in which uv lies, were the model's second order in a left out: a turn
   by a s of 3e-4 has 5e-8 of it. */
static tr_vec2 seen_from_row(const tr_lens *known, const tr_sim_exposure *e, tr_pose vehicle_from,
                             tr_vec3 P, tr_vec2 uv) {
    double s = part_of_frame(known, uv);
    tr_vec3 from = tr_v3_sub(P, vehicle_from.t_mm);
    from = tr_v3_sub(from, tr_v3(s * e->travel_mm.x, s * e->travel_mm.y, s * e->travel_mm.z));
    tr_vec3 q = tr_m3_apply(tr_m3_transpose(vehicle_from.R), from);
    double a[3] = {s * e->turn_rad.x, s * e->turn_rad.y, s * e->turn_rad.z};
    tr_vec3 turned = {q.x + a[1] * q.z - a[2] * q.y, q.y + a[2] * q.x - a[0] * q.z,
                      q.z + a[0] * q.y - a[1] * q.x};
    tr_lens plain = {.width_px = known->width_px, .height_px = known->height_px};
    memcpy(plain.param, known->param, sizeof plain.param);
    plain.param[TR_CX] = plain.param[TR_CY] = 0;
    tr_vec2 at;
    assert_true(tr_lens_project(&plain, turned, &at, NULL, NULL));
    return tr_v2((1 + e->focal) * at.x + known->param[TR_CX] + e->shift_px.x,
                 (1 + e->focal) * at.y + known->param[TR_CY] + e->shift_px.y);
}

/* Each effect alone, then all: marks lie where the model has them, and the effect moves them. */
static void marks_lie_where_the_model_says(void **state) {
    (void)state;
    tr_sim_phone phones[] = {{.principal_point_px = 10},
                             {.focal = 0.002},
                             {.turn_rad = 5e-4},
                             {.travel_mm = 0.4},
                             tr_sim_phone_full(1)};
    for (int i = 0; i < 10; i++) {
        tr_sim_options o = {.seed = 5, .noise.phone = phones[i / 2]};
        o.noise.phone.is_portrait = i % 2 == 1;
        tr_sim sim;
        simulate(&o, &sim);
        double largest = 0;
        double largest_effect = 0;
        for (int k = 0; k < sim.check.set.n_photos; k++) {
            const tr_photo_marks *marks = &sim.check.set.photos[k].marks;
            for (int j = 0; j < marks->n_marks; j++) {
                const tr_mark *m = &marks->marks[j];
                const tr_sim_item *item = &sim.photos[k].items[m->sheet];
                tr_vec3 P = tr_sim_item_point(&sim, item, m->p_sheet_mm[0]);
                tr_vec2 uv = seen_from_row(&sim.true_lens, &sim.photos[k].exposure,
                                           sim.vehicle_from_camera[k], P, m->uv_px[0]);
                tr_sim_exposure none = {0};
                tr_vec2 ideal = seen_from_row(&sim.true_lens, &none, sim.vehicle_from_camera[k], P,
                                              m->uv_px[0]);
                largest = fmax(largest, tr_v2_norm(tr_v2_sub(uv, m->uv_px[0])));
                largest_effect = fmax(largest_effect, tr_v2_norm(tr_v2_sub(ideal, m->uv_px[0])));
            }
        }
        print_message("phone %d: off the model by at most %.2e px, off the ideal by %.2f px\n", i,
                      largest, largest_effect);
        CHECK_AT_MOST(largest, 1e-4);
        assert_true(largest_effect > 0.1);
        tr_sim_release(&sim);
    }
}

/* A portrait file is the landscape one turned clockwise. */
static void portrait_files_are_turned_by_a_quarter(void **state) {
    (void)state;
    tr_sim_options o = {.seed = 8};
    tr_sim upright;
    tr_sim turned;
    simulate(&o, &upright);
    o.noise.phone.is_portrait = true;
    simulate(&o, &turned);
    assert_int_equal(turned.job.lenses[0].width_px, 3024);
    assert_int_equal(turned.job.lenses[0].height_px, 4032);
    int n = 0;
    for (int k = 0; k < upright.check.set.n_photos; k++) {
        const tr_photo_marks *a = &upright.check.set.photos[k].marks;
        const tr_photo_marks *b = &turned.check.set.photos[k].marks;
        assert_int_equal(a->n_marks, b->n_marks);
        for (int j = 0; j < a->n_marks; j++) {
            CHECK_NEAR(b->marks[j].uv_px[0].x, 3023 - a->marks[j].uv_px[0].y, 1e-8);
            CHECK_NEAR(b->marks[j].uv_px[0].y, a->marks[j].uv_px[0].x, 1e-8);
            n++;
        }
    }
    assert_true(n > 50);
    /* Principal point and tangential terms go with the file, and so does what is known of them. */
    const tr_lens *l = &upright.job.lenses[0];
    const tr_lens *p = &turned.job.lenses[0];
    int cx_p2 = TR_CX * TR_LENS_N + TR_P2;
    int cy_p1 = TR_CY * TR_LENS_N + TR_P1;
    CHECK_NEAR(p->covariance[cx_p2], l->covariance[cy_p1], 1e-20);
    CHECK_NEAR(p->covariance[cy_p1], l->covariance[cx_p2], 1e-20);
    tr_sim_release(&upright);
    tr_sim_release(&turned);
}

static void scatter_is_as_asked(void **state) {
    (void)state;
    enum { N = 20000 };
    tr_sim_phone full = tr_sim_phone_full(2);
    tr_lens lens = {.width_px = 2016, .height_px = 1512};
    tr_random random = tr_random_seed(3);
    double sum2[9] = {0};
    for (int i = 0; i < N; i++) {
        tr_sim_exposure e = tr_sim_expose(&full, &lens, &random);
        double x[9] = {e.shift_px.x, e.shift_px.y,  e.focal,       e.turn_rad.x, e.turn_rad.y,
                       e.turn_rad.z, e.travel_mm.x, e.travel_mm.y, e.travel_mm.z};
        for (int k = 0; k < 9; k++) sum2[k] += x[k] * x[k];
    }
    /* Issue: 10 px of a photo of 12 megapixels, 0.2 %, 20 ms at 1.5 deg/s and 20 mm/s; twice. */
    static const double turn = 2 * 0.02 * 1.5 * TR_RAD_PER_DEG;
    static const double sd[9] = {10, 10, 0.004, turn, turn, turn, 0.8, 0.8, 0.8};
    for (int k = 0; k < 9; k++) CHECK_NEAR(sqrt(sum2[k] / N), sd[k], 0.02 * sd[k]);
}

/* ---- sheets ---- */

static void reliefs_have_the_heights_that_they_name(void **state) {
    (void)state;
    const double w = 1600;
    const double h = 1000;
    tr_relief r = {.side_mm = {1, 2, 3, 4}, .corner_mm = {1.5, 2.5, -3.5, 4.5}, .reach_mm = 300};
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(-800, 0)), 1, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(800, 0)), 2, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(0, -500)), 3, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(0, 500)), 4, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(-800, -500)), 1.5, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(800, -500)), 2.5, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(-800, 500)), -3.5, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(800, 500)), 4.5, 1e-12);
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(-500, 0)), 0, 0);
    /* A quarter of it half way, and a slope of -1 / 300 there and of 0 at the reach. */
    CHECK_NEAR(tr_sim_relief_mm(&r, w, h, tr_v2(-650, 0)), 0.25, 1e-12);
    double slope =
        tr_sim_relief_mm(&r, w, h, tr_v2(-649.9, 0)) - tr_sim_relief_mm(&r, w, h, tr_v2(-650.1, 0));
    CHECK_NEAR(slope / 0.2, -1.0 / 300, 1e-9);
    CHECK_AT_MOST(tr_sim_relief_mm(&r, w, h, tr_v2(-500.1, 0)), 1e-6);
    tr_relief wave = {.wave_mm = 2, .wave_rad_per_mm = {0.003, 0.004}, .wave_rad = 0.1};
    CHECK_NEAR(tr_sim_relief_mm(&wave, w, h, tr_v2(100, 50)), 2 * sin(0.6), 1e-12);
}

static void mats_are_lifted_by_as_much_as_asked(void **state) {
    (void)state;
    tr_sim_phone full = tr_sim_phone_full(1);
    tr_random random = tr_random_seed(9);
    double largest = 0;
    double largest_off = 0;
    for (int i = 0; i < 200; i++) {
        tr_relief r = tr_sim_relief(&full, 1600, 1000, &random);
        assert_true(r.reach_mm >= 200 && r.reach_mm <= 400);
        for (int x = -800; x <= 800; x += 80) {
            for (int y = -500; y <= 500; y += 50) {
                double z = tr_sim_relief_mm(&r, 1600, 1000, tr_v2(x, y));
                largest = fmax(largest, z);
                largest_off = fmax(largest_off, -z);
            }
        }
    }
    /* 1.5 mm of lift and 0.3 mm of waves. */
    CHECK_AT_MOST(largest, 1.8);
    assert_true(largest > 1.5);
    CHECK_AT_MOST(largest_off, 0.3);
    /* And in a job the mat is, the plates are not. */
    tr_sim_options o = {.seed = 2, .noise.phone = {.lift_mm = 1.5}};
    tr_sim sim;
    simulate(&o, &sim);
    const tr_sim_item *items = sim.photos[0].items;
    for (int i = 0; i < sim.photos[0].n_items; i++) {
        const tr_sheet *sheet = &sim.job.sheets[items[i].sheet];
        tr_vec2 side = tr_v2(-sheet->width_mm / 2, 0);
        double z = tr_sim_item_point(&sim, &items[i], side).z;
        CHECK_NEAR(z, i == TR_SIM_MAT ? items[i].relief.side_mm[0] : 0, 1e-9);
        assert_true(i != TR_SIM_MAT || z > 0.01);
    }
    tr_sim_release(&sim);
}

static void floors_are_uneven(void **state) {
    (void)state;
    double sum_z2 = 0;
    double sum_tilt2 = 0;
    int n = 0;
    for (int i = 0; i < 60; i++) {
        tr_sim_options o = {.seed = 100 + (uint64_t)i, .noise.phone = tr_sim_phone_full(1)};
        tr_sim sim;
        simulate(&o, &sim);
        for (int k = 0; k < sim.job.n_sheets; k++) {
            tr_vec3 up = tr_m3_column(sim.vehicle_from_sheet[k].R, 2);
            double z = sim.vehicle_from_sheet[k].t_mm.z;
            sum_z2 += z * z;
            sum_tilt2 += (up.x * up.x + up.y * up.y) / 2;
            n++;
        }
        tr_sim_release(&sim);
    }
    CHECK_NEAR(sqrt(sum_z2 / n), 1.5, 0.2);
    CHECK_NEAR(sqrt(sum_tilt2 / n), 0.002, 0.0002);
}

/* ---- noise, and what does not change ---- */

/* The phone draws from numbers of its own. */
static void a_phone_changes_nothing_else(void **state) {
    (void)state;
    tr_sim_options o = {.seed = 4, .noise.draws_lens = true, .noise.reference_sd_mm = 1};
    tr_sim plain;
    tr_sim with;
    simulate(&o, &plain);
    o.noise.phone = tr_sim_phone_full(1);
    simulate(&o, &with);
    CHECK_NEAR(plain.true_lens.param[TR_FX], with.true_lens.param[TR_FX], 0);
    /* Later photos differ: which marks are seen decides how many numbers their noise takes. */
    CHECK_NEAR(plain.vehicle_from_camera[0].t_mm.x, with.vehicle_from_camera[0].t_mm.x, 0);
    for (int k = 0; k < 3; k++) CHECK_NEAR(plain.truth[k], with.truth[k], 1e-4);
    tr_sim_release(&plain);
    tr_sim_release(&with);
}

static void marks_carry_a_floor_of_noise(void **state) {
    (void)state;
    tr_sim_options o = {.seed = 4, .noise.marks = 1};
    tr_sim sim;
    tr_sim exact;
    o.noise.phone.mark_floor_px = 0.5;
    simulate(&o, &sim);
    o.noise.marks = 0;
    simulate(&o, &exact);
    double sum_z2 = 0;
    int n = 0;
    for (int k = 0; k < sim.check.set.n_photos; k++) {
        const tr_photo_marks *a = &sim.check.set.photos[k].marks;
        const tr_photo_marks *b = &exact.check.set.photos[k].marks;
        if (a->n_marks != b->n_marks) continue;
        for (int j = 0; j < a->n_marks; j++) {
            double variance = a->marks[j].covariance[0];
            double du = a->marks[j].uv_px[0].x - b->marks[j].uv_px[0].x;
            assert_true(variance > 0.25 && variance < 0.26);
            sum_z2 += du * du / variance;
            n++;
        }
    }
    assert_true(n > 50);
    CHECK_NEAR(sum_z2 / n, 1, 0.35);
    tr_sim_release(&sim);
    tr_sim_release(&exact);
}

/* ---- the renderer ---- */

/* Every mark of a photo: where the renderer has it. */
static void compare_photo(const tr_sim *sim, int photo, double *largest, int *n_compared) {
    tr_error err = {0};
    const tr_sim_photo *p = &sim->photos[photo];
    tr_scene_sheet sheets[TR_SIM_MAX_ITEMS];
    tr_scene_camera camera = {.vehicle_from_camera = sim->vehicle_from_camera[photo],
                              .shift_px = p->exposure.shift_px,
                              .focal = p->exposure.focal,
                              .turn_rad = p->exposure.turn_rad,
                              .travel_mm = p->exposure.travel_mm};
    tr_scene scene = {.lens = sim->true_lens, .sheets = sheets, .cameras = &camera, .n_cameras = 1};
    for (int i = 0; i < p->n_items; i++) {
        const tr_sim_item *item = &p->items[i];
        sheets[scene.n_sheets++] =
            (tr_scene_sheet){.sheet = sim->printed[item->sheet],
                             .print_scale = {item->print_scale[0], item->print_scale[1]},
                             .bow_mm = {item->bow_mm[0], item->bow_mm[1]},
                             .relief = item->relief,
                             .vehicle_from_sheet = item->vehicle_from_sheet};
    }
    int n = 0;
    tr_seen *seen = tr_scene_truth(&scene, 0, &n, &err);
    assert_non_null(seen);
    for (int k = 0; k < n; k++) {
        tr_vec2 uv;
        bool is_seen =
            tr_sim_project(sim, photo, &p->items[seen[k].sheet], seen[k].p_sheet_mm, &uv);
        assert_int_equal(is_seen, seen[k].is_projected);
        if (!is_seen || !seen[k].is_visible) continue;
        *largest = fmax(*largest, tr_v2_norm(tr_v2_sub(uv, seen[k].uv_px)));
        ++*n_compared;
    }
    free(seen);
}

static void the_renderer_sees_the_same(void **state) {
    (void)state;
    for (int i = 0; i < 6; i++) {
        tr_sim_options o = {.seed = 20 + (uint64_t)i,
                            .noise.draws_prints = true,
                            .faults.mat_curl_mm = i == 4 ? 4 : 0,
                            .noise.phone = tr_sim_phone_full(i < 3 ? 1 : 4)};
        tr_sim sim;
        double largest = 0;
        int n = 0;
        o.noise.phone.is_portrait = i % 2 == 1;
        simulate(&o, &sim);
        for (int k = 0; k < sim.check.set.n_photos; k++) compare_photo(&sim, k, &largest, &n);
        print_message("%d marks, renderer and simulation differ by at most %.2e px\n", n, largest);
        assert_true(n > 100);
        CHECK_AT_MOST(largest, 1e-8);
        tr_sim_release(&sim);
    }
}

/* ---- surveys ---- */

static void surveys_have_the_same_effects(void **state) {
    (void)state;
    for (int portrait = 0; portrait < 2; portrait++) {
        tr_survey_sim_options o = {.seed = 6, .misplaced_mm = 5, .phone = tr_sim_phone_full(1)};
        tr_error err = {0};
        tr_survey_sim sim;
        double largest = 0;
        int n = 0;
        o.phone.is_portrait = portrait;
        assert_true(tr_simulate_survey(&o, &sim, &err));
        assert_true(sim.relief.side_mm[0] > 0);
        for (int k = 0; k < sim.survey.set.n_photos; k++) {
            const tr_photo_marks *marks = &sim.survey.set.photos[k].marks;
            for (int j = 0; j < marks->n_marks; j++) {
                const tr_mark *m = &marks->marks[j];
                if (m->kind != TR_MARK_CORNER) continue;
                tr_vec2 at = sim.at_mm[TR_SURVEY_SIM_TAGS + m->index];
                tr_vec3 P = {at.x, at.y, sim.height_mm[TR_SURVEY_SIM_TAGS + m->index]};
                CHECK_NEAR(P.z, tr_sim_relief_mm(&sim.relief, 1600, 1000, at), 1e-12);
                tr_vec2 uv = seen_from_row(&sim.true_lens, &sim.exposures[k],
                                           sim.vehicle_from_camera[k], P, m->uv_px[0]);
                largest = fmax(largest, tr_v2_norm(tr_v2_sub(uv, m->uv_px[0])));
                n++;
            }
        }
        assert_true(n > 30);
        CHECK_AT_MOST(largest, 1e-4);
        tr_survey_sim_release(&sim);
    }
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(marks_lie_where_the_model_says),
        cmocka_unit_test(portrait_files_are_turned_by_a_quarter),
        cmocka_unit_test(scatter_is_as_asked),
        cmocka_unit_test(reliefs_have_the_heights_that_they_name),
        cmocka_unit_test(mats_are_lifted_by_as_much_as_asked),
        cmocka_unit_test(floors_are_uneven),
        cmocka_unit_test(a_phone_changes_nothing_else),
        cmocka_unit_test(marks_carry_a_floor_of_noise),
        cmocka_unit_test(the_renderer_sees_the_same),
        cmocka_unit_test(surveys_have_the_same_effects),
    };
    return cmocka_run_group_tests_name("simulate", tests, NULL, NULL);
}
