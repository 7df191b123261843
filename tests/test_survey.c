/* trammel survey: frames, the network of free marks, known lengths, files and the command. What is
   measured is compared with scenes of known truth; whether u95 is honest, tools/campaign survey
   tells over many of them. */
#include "check.h"
#include "temp.h"

#include <sys/stat.h>
#include <sys/wait.h>

#include "base/file.h"
#include "network/blocks.h"
#include "photos/order.h"
#include "survey/network.h"
#include "survey/survey.h"
#include "tools/simulate/survey_scene.h"

/* ---- frames ---- */

static tr_vec2 placed(double theta, tr_vec2 t, double sx, double sy, tr_vec2 k) {
    tr_vec2 p = {sx * k.x, sy * k.y};
    return tr_v2(cos(theta) * p.x - sin(theta) * p.y + t.x,
                 sin(theta) * p.x + cos(theta) * p.y + t.y);
}

static const tr_vec2 PLACES[8] = {{-700, 400}, {0, 410},     {690, 380}, {-680, 0},
                                  {650, 20},   {-680, -390}, {10, -400}, {680, -380}};

/* Exact marks give back frame and scales, also turned by far more than a start's step. */
static void a_frame_is_found(void **unused) {
    (void)unused;
    for (int k = 0; k < 24; k++) {
        double theta = 2 * TR_PI * k / 24 + 0.1;
        tr_datum_mark marks[8];
        tr_datum d;
        for (int i = 0; i < 8; i++) {
            marks[i] = (tr_datum_mark){placed(theta, tr_v2(300, -50), 0.996, 1.003, PLACES[i]),
                                       PLACES[i],
                                       {true, true},
                                       1};
        }
        assert_true(tr_datum_fit(marks, 8, &d));
        assert_int_equal(d.n_scales, 2);
        CHECK_NEAR(tr_wrap_rad(d.theta_rad - theta), 0, 1e-9);
        CHECK_NEAR(d.scale[0], 0.996, 1e-9);
        CHECK_NEAR(d.scale[1], 1.003, 1e-9);
        CHECK_NEAR(d.t_mm.x, 300, 1e-6);
        CHECK_NEAR(d.rms_mm, 0, 1e-6);
        tr_vec2 p = tr_datum_apply(&d, marks[2].measured_mm);
        CHECK_NEAR(p.x, 0.996 * PLACES[2].x, 1e-6);
        CHECK_NEAR(p.y, 1.003 * PLACES[2].y, 1e-6);
    }
}

/* Half of the marks lie anywhere within 8 mm; the others tell the frame alone. */
static void a_frame_rests_on_marks_that_agree(void **unused) {
    (void)unused;
    tr_random r = tr_random_seed(7);
    for (int trial = 0; trial < 50; trial++) {
        tr_datum_mark marks[16];
        tr_datum d;
        for (int i = 0; i < 16; i++) {
            tr_vec2 k = tr_v2_scale(i < 8 ? 1 : 0.93, PLACES[i % 8]);
            tr_vec2 m = placed(0.02, tr_v2(5, 6), 0.996, 1.003, k);
            double size = i < 8 ? 0.01 : 8;
            m.x += size * (2 * tr_random_uniform(&r) - 1);
            m.y += size * (2 * tr_random_uniform(&r) - 1);
            marks[i] = (tr_datum_mark){m, k, {true, true}, 1};
        }
        assert_true(tr_datum_fit_robust(marks, 16, &d, NULL));
        CHECK_NEAR(d.theta_rad, 0.02, 1e-4);
        CHECK_NEAR(d.scale[0], 0.996, 1e-4);
        CHECK_NEAR(d.t_mm.x, 5, 0.05);
        for (int i = 0; i < 8; i++) assert_true(marks[i].weight > 0.5);
    }
}

/* How frame and scales answer to the marks: against moving each mark. */
static void a_frame_gain_by_moving_marks(void **unused) {
    (void)unused;
    tr_datum_mark marks[8];
    tr_datum d;
    double G[5 * 16];
    double inverse[25];
    for (int i = 0; i < 8; i++) {
        tr_vec2 m = placed(0.7, tr_v2(30, -20), 0.99, 1.02, PLACES[i]);
        m.x += 0.4 * sin(3.0 * i);
        marks[i] = (tr_datum_mark){m, PLACES[i], {true, i != 3}, 1 + 0.1 * i};
    }
    assert_true(tr_datum_fit(marks, 8, &d));
    assert_true(tr_datum_sensitivity(&d, marks, 8, G, inverse));
    for (int i = 0; i < 8; i++) {
        for (int k = 0; k < 2; k++) {
            tr_datum moved;
            const double h = 1e-3;
            tr_vec2 kept = marks[i].measured_mm;
            /* Along the frame's own axes. */
            marks[i].measured_mm.x += h * (k ? -sin(d.theta_rad) : cos(d.theta_rad));
            marks[i].measured_mm.y += h * (k ? cos(d.theta_rad) : sin(d.theta_rad));
            assert_true(tr_datum_fit(marks, 8, &moved));
            marks[i].measured_mm = kept;
            tr_vec2 shift = tr_v2_sub(tr_datum_apply(&d, moved.t_mm), tr_v2(0, 0));
            double change[5] = {shift.x, shift.y, moved.theta_rad - d.theta_rad,
                                moved.scale[0] - d.scale[0], moved.scale[1] - d.scale[1]};
            for (int p = 0; p < 5; p++) {
                double unit = p < 2 ? 1 : 1e-3; /* 1 mm, 1 mm in a metre */
                CHECK_NEAR(change[p] / h, G[p * 16 + 2 * i + k], 2e-3 * unit);
            }
        }
    }
    for (int p = 0; p < 5; p++) assert_true(inverse[6 * p] > 0);
}

static void few_marks_make_what_frame_they_can(void **unused) {
    (void)unused;
    tr_datum d;
    tr_datum_mark two[2] = {{{10, 10}, {-400, 0}, {true, true}, 1},
                            {{806, 10}, {400, 0}, {true, true}, 1}};
    assert_true(tr_datum_fit(two, 2, &d));
    assert_int_equal(d.n_scales, 1);
    CHECK_NEAR(d.scale[0], 796.0 / 800, 1e-9);
    CHECK_NEAR(d.t_mm.x, 408, 1e-6); /* the printed middle, not 400 from the first */
    /* x of both, y of one: which way up is the order's to say. */
    tr_datum_mark line[2] = {{{5, 300}, {0, 0}, {true, true}, 1},
                             {{5, 900}, {0, 0}, {true, false}, 1}};
    assert_true(tr_datum_fit(line, 2, &d));
    assert_int_equal(d.n_scales, 0);
    tr_vec2 upper = tr_datum_apply(&d, tr_v2(5, 900));
    CHECK_NEAR(upper.x, 0, 1e-6);
    CHECK_NEAR(upper.y, 600, 1e-6);
    assert_false(tr_datum_fit(line, 1, &d));
    line[0].is_known[1] = false;
    assert_false(tr_datum_fit(line, 2, &d));
}

/* ---- measuring simulated marks ---- */

static void simulate(const tr_survey_sim_options *o, tr_survey_sim *sim) {
    tr_error err = {0};
    if (!tr_simulate_survey(o, sim, &err)) fail_msg("%s", err.text);
}

static tr_survey_align by_corners(const tr_survey_sim *sim) {
    return (tr_survey_align){sim->corners, TR_SURVEY_SIM_CORNERS};
}

static const tr_survey_sim_options MISPLACED = {
    .seed = 5, .misplaced_mm = 8, .print_scale = {-0.004, 0.003}, .height_sd_mm = 1, .n_stuck = 2};

/* Without noise everything comes out: places, turns, edges, scale, flatness. */
static void exact_marks_are_measured_exactly(void **unused) {
    (void)unused;
    tr_survey_sim sim;
    tr_error err = {0};
    simulate(&MISPLACED, &sim);
    if (!tr_survey_solve(&sim.survey, by_corners(&sim), &err)) fail_msg("%s", err.text);
    const tr_survey_sheet *s = &sim.survey.sheets[0];
    double low = INFINITY;
    double high = -INFINITY;
    for (int i = 0; i < sim.survey.n_marks; i++) {
        const tr_survey_mark *m = &sim.survey.marks[i];
        assert_true(m->is_measured);
        /* Heights of a millimetre tilt the plane a little: 1e-3 rad of 1 mm. */
        CHECK_NEAR(m->at_mm.x, sim.at_mm[i].x, 0.01);
        CHECK_NEAR(m->at_mm.y, sim.at_mm[i].y, 0.01);
        assert_true(m->u95_mm[0] > 0 && m->u95_mm[0] < 0.2);
        low = fmin(low, sim.height_mm[i]);
        high = fmax(high, sim.height_mm[i]);
        if (!m->name.is_tag) continue;
        CHECK_NEAR(tr_wrap_rad(m->turn_rad - sim.turn_rad[i]), 0, 1e-4);
        CHECK_NEAR(m->edges_mm[0], sim.edges_mm[i][0], 0.01);
        CHECK_NEAR(m->edges_mm[1], sim.edges_mm[i][1], 0.01);
    }
    assert_true(s->has_scale);
    CHECK_NEAR(s->scale[0], 0.996, 2e-5);
    CHECK_NEAR(s->scale[1], 1.003, 2e-5);
    assert_true(s->condition.has_flatness);
    CHECK_NEAR(s->condition.flatness_mm, high - low, 1.0);
    assert_int_equal(s->measured.n_tags, 8);
    assert_int_equal(s->measured.tags[7].id, 47);
    assert_int_equal(s->measured.n_corners, 8);
    assert_int_equal(s->measured.survey.n_rows, 8 * TR_TAG_N + 8 * TR_CORNER_N);
    CHECK_NEAR(s->measured.survey.scale_sd, 5e-5, 2e-5); /* 0.05 mm of 1000 */
    tr_survey_sim_release(&sim);
}

/* The frame is laid down afterwards: distances between marks and their u95 do not depend on it. */
static void distances_do_not_depend_on_the_frame(void **unused) {
    (void)unused;
    tr_survey_sim sim;
    tr_error err = {0};
    double length[2];
    double u95[2];
    tr_survey_sim_options o = MISPLACED;
    o.noise = 1;
    simulate(&o, &sim);
    for (int k = 0; k < 2; k++) {
        tr_survey_align align = by_corners(&sim);
        if (k) align.n = 2; /* corners 1 and 2 alone */
        if (!tr_survey_solve(&sim.survey, align, &err)) fail_msg("%s", err.text);
        const tr_sheet *s = &sim.survey.sheets[0].measured;
        tr_vec2 d = tr_v2_sub(s->tags[2].centre_mm, s->tags[0].centre_mm);
        length[k] = tr_v2_norm(d);
        double g[4] = {-d.x / length[k], -d.y / length[k], d.x / length[k], d.y / length[k]};
        int row[4] = {0, 1, 2 * TR_TAG_N, 2 * TR_TAG_N + 1};
        double variance = 0;
        for (int i = 0; i < 4; i++) {
            for (int j = 0; j < 4; j++) {
                variance += g[i] * g[j] * s->survey.covariance[row[i] * s->survey.n_rows + row[j]];
            }
        }
        u95[k] = 2 * sqrt(variance);
    }
    CHECK_NEAR(length[0], length[1], 3e-4); /* files round to 0.0001 mm */
    CHECK_NEAR(u95[0], u95[1], 1e-6);
    tr_survey_sim_release(&sim);
}

/* Two tags that nobody knows the place of, on the centre line: they are the frame. */
static void two_stuck_tags_are_the_centre_line(void **unused) {
    (void)unused;
    tr_survey_sim sim;
    tr_error err = {0};
    tr_mark_name line[2] = {{0, true, 6}, {0, true, 1}};
    tr_survey_sim_options o = MISPLACED;
    o.n_stuck = 8; /* a mat with nothing but its corners, and these not seen */
    simulate(&o, &sim);
    if (!tr_survey_solve(&sim.survey, (tr_survey_align){line, 2}, &err)) fail_msg("%s", err.text);
    const tr_survey_mark *lower = &sim.survey.marks[6];
    const tr_survey_mark *upper = &sim.survey.marks[1];
    double d = tr_v2_norm(tr_v2_sub(sim.at_mm[1], sim.at_mm[6]));
    CHECK_NEAR(lower->at_mm.x, 0, 1e-6);
    CHECK_NEAR(upper->at_mm.x, 0, 1e-6);
    CHECK_NEAR(upper->at_mm.y, d / 2, 0.01);
    CHECK_NEAR(lower->at_mm.y, -d / 2, 0.01);
    CHECK_NEAR(lower->u95_mm[0], 0, 1e-6); /* it is what the frame is made of */
    assert_true(sim.survey.marks[0].u95_mm[0] > 0.005);
    tr_survey_sim_release(&sim);
}

/* The size that is stated of a stuck tag is only where the search starts; but it is told. */
static void a_stuck_tag_of_another_size_is_told(void **unused) {
    (void)unused;
    for (int k = 0; k < 2; k++) {
        tr_survey_sim sim;
        tr_error err = {0};
        simulate(&MISPLACED, &sim);
        double edge_mm = sim.spec.stuck[1].size_mm;
        if (k) sim.spec.stuck[1].size_mm *= 1.25;
        if (!tr_survey_solve(&sim.survey, by_corners(&sim), &err)) fail_msg("%s", err.text);
        assert_int_equal(tr_findings_have(&sim.survey.findings, TR_FOUND_STUCK_TAG_SIZE), k);
        CHECK_NEAR(sim.survey.marks[7].edges_mm[0], edge_mm, 0.01 * edge_mm);
        tr_survey_sim_release(&sim);
    }
}

/* A rule of 100 mm carries the scale as well as it was read: 0.1 mm of 100. */
static void a_rule_carries_the_scale(void **unused) {
    (void)unused;
    tr_survey_sim sim;
    tr_error err = {0};
    tr_survey_sim_options o = MISPLACED;
    o.has_rule = o.has_no_bar = true;
    simulate(&o, &sim);
    if (!tr_survey_solve(&sim.survey, by_corners(&sim), &err)) fail_msg("%s", err.text);
    for (int i = 0; i < sim.survey.n_marks; i++) {
        CHECK_NEAR(sim.survey.marks[i].at_mm.x, sim.at_mm[i].x, 0.1);
        CHECK_NEAR(sim.survey.marks[i].at_mm.y, sim.at_mm[i].y, 0.1);
    }
    CHECK_NEAR(sim.survey.scale_sd, 7e-4, 2e-4); /* both ways: 1e-3 over the root of 2 */
    assert_true(tr_findings_have(&sim.survey.findings, TR_FOUND_SCALE_UNCERTAIN));
    tr_survey_sim_release(&sim);
}

/* The prior of tags' sizes must not pull the scale: all tags 3 % too small, and a bar. */
static void sizes_of_tags_carry_no_scale(void **unused) {
    (void)unused;
    tr_survey_sim sim;
    tr_error err = {0};
    tr_survey_sim_options o = {.seed = 3, .print_scale = {-0.03, -0.03}};
    simulate(&o, &sim);
    if (!tr_survey_solve(&sim.survey, by_corners(&sim), &err)) fail_msg("%s", err.text);
    CHECK_NEAR(sim.survey.sheets[0].scale[0], 0.97, 2e-5);
    tr_survey_sim_release(&sim);
}

/* What is not determined is named as people know it: by the photo's file, the sheet, the mark. */
static void unknowns_have_names(void **unused) {
    (void)unused;
    tr_survey_sim sim;
    tr_survey_network w;
    tr_error err = {0};
    char name[200];
    tr_survey_sim_options o = {.seed = 3, .n_bars = 1};
    simulate(&o, &sim);
    tr_survey *v = &sim.survey;
    tr_photo_set_name(&v->set);
    assert_true(tr_photo_set_sort(&v->set, &err));
    if (!tr_survey_network_make(v, &w, &err)) fail_msg("%s", err.text);
    const char *photo = v->set.photos[v->set.order[1]].name;
    assert_true(*photo);
    tr_block_name(&w.net, (tr_block){TR_NET_PHOTO, 1}, 0, name, sizeof name);
    assert_non_null(strstr(name, photo));
    tr_block_name(&w.net, (tr_block){TR_NET_SHEET, 0}, 0, name, sizeof name);
    assert_non_null(strstr(name, v->spec->sheets[0].id));
    tr_block_name(&w.net, (tr_block){TR_NET_SHEET, v->spec->n_sheets}, 0, name, sizeof name);
    assert_non_null(strstr(name, v->spec->bars[0].id));
    int tag = v->spec->sheets[0].tags[0].id;
    char words[128];
    snprintf(words, sizeof words, "the offset of mark 'tag %d of %s'", tag, v->spec->sheets[0].id);
    tr_block_name(&w.net, (tr_block){TR_NET_OFFSET, v->sheets[0].first_mark}, 0, name, sizeof name);
    assert_string_equal(name, words);
    tr_block_name(&w.net, (tr_block){TR_NET_OFFSET, v->n_marks + 1}, 0, name, sizeof name);
    snprintf(words, sizeof words, "the offset of mark 'tag %d of %s'", v->spec->bars[0].tag[1],
             v->spec->bars[0].id);
    assert_string_equal(name, words);
    tr_survey_network_release(&w);
    tr_survey_sim_release(&sim);
}

static void fails_with(const tr_survey_sim_options *o, const char *words) {
    tr_survey_sim sim;
    tr_error err = {0};
    simulate(o, &sim);
    bool ok = tr_survey_solve(&sim.survey, by_corners(&sim), &err);
    if (ok || !strstr(err.text, words)) fail_msg("%s", ok ? "it was measured" : err.text);
    assert_int_equal(err.code, TR_NO_MEASURE);
    tr_survey_sim_release(&sim);
}

/* 0.1 % are 1 mm on a bar of a metre: ten standard deviations of two bars. */
static void a_wrong_bar_is_caught(void **unused) {
    (void)unused;
    tr_survey_sim_options o = {.seed = 11, .noise = 1, .is_steady = true, .n_bars = 2};
    tr_survey_sim sim;
    tr_error err = {0};
    simulate(&o, &sim);
    assert_true(tr_survey_solve(&sim.survey, by_corners(&sim), &err));
    assert_false(tr_findings_have(&sim.survey.findings, TR_FOUND_ONE_LENGTH));
    tr_survey_sim_release(&sim);
    o.bar_factor[1] = 1.001;
    fails_with(&o, "bar BAR-1, bar BAR-2 is stated too short by 0.10 %");
    o.bar_factor[1] = 0.999;
    fails_with(&o, "bar BAR-1, bar BAR-2 is stated too long by 0.10 %");
    /* Of three the wrong one is told. */
    o.n_bars = 3;
    fails_with(&o, "bar BAR-2 is stated as 1000.00 mm, but is 999.");
    o.bar_factor[1] = 0;
    o.bar_factor[0] = 1.001;
    fails_with(&o, "bar BAR-1 is stated as 1000.00 mm, but is 1001.");
}

/* However far off it is, neither the photos are blamed for it nor are tags of the bar, or of the
   other one, left out. */
static void a_bar_that_is_far_wrong_is_caught(void **unused) {
    (void)unused;
    static const double FACTORS[] = {0.991, 0.98, 0.9, 1.01, 1.1};
    for (size_t i = 0; i < sizeof FACTORS / sizeof *FACTORS; i++) {
        tr_survey_sim_options o = {
            .seed = 11, .is_steady = true, .n_bars = 2, .bar_factor = {FACTORS[i]}};
        fails_with(&o, "the known lengths contradict each other: against bar BAR-");
        for (int has_rule = 0; has_rule < 2; has_rule++) {
            /* Against two bars, against both ways of the printed rule. */
            tr_survey_sim sim;
            tr_error err = {0};
            o.n_bars = has_rule ? 1 : 3;
            o.has_rule = has_rule;
            simulate(&o, &sim);
            assert_false(tr_survey_solve(&sim.survey, by_corners(&sim), &err));
            if (!strstr(err.text, "bar BAR-1 is stated as 1000.00 mm")) fail_msg("%s", err.text);
            CHECK_NEAR(sim.survey.lengths[0].by_others_mm / (1000 * FACTORS[i]), 1, 1e-3);
            tr_survey_sim_release(&sim);
        }
    }
    tr_survey_sim_options o = {.seed = 11, .is_steady = true, .n_bars = 3, .bar_factor = {2}};
    fails_with(&o, "bar BAR-1 is stated as 1000.00 mm");
}

/* With one bar an error goes unseen, and the survey says so. */
static void one_bar_is_not_enough_to_be_sure(void **unused) {
    (void)unused;
    tr_survey_sim_options o = {.seed = 11, .noise = 1, .bar_factor = {1.001}};
    tr_survey_sim sim;
    tr_error err = {0};
    simulate(&o, &sim);
    assert_true(tr_survey_solve(&sim.survey, by_corners(&sim), &err));
    assert_true(tr_findings_have(&sim.survey.findings, TR_FOUND_ONE_LENGTH));
    CHECK_NEAR(sim.survey.sheets[0].scale[0], 1 / 1.001, 2e-4);
    tr_survey_sim_release(&sim);
}

static void what_cannot_be_measured_is_refused(void **unused) {
    (void)unused;
    tr_survey_sim_options o = {.seed = 2, .noise = 1, .is_bar_hidden = true};
    fails_with(&o, "no known length is in view: both tags of bar BAR-1");
    o = (tr_survey_sim_options){.seed = 2, .noise = 1, .n_photos = 2};
    fails_with(&o, "only 2 of 2 photos can be used");
    o = (tr_survey_sim_options){.seed = 2, .noise = 1, .n_photos = 1};
    fails_with(&o, "only 1 of 1 photos can be used");
    tr_survey_sim sim;
    tr_error err = {0};
    tr_mark_name none = {0, true, 7};
    o = (tr_survey_sim_options){.seed = 2, .n_stuck = 1};
    simulate(&o, &sim);
    assert_false(tr_survey_solve(&sim.survey, (tr_survey_align){&none, 1}, &err));
    assert_non_null(strstr(err.text, "do not say where the frame of MAT-SIM is"));
    tr_survey_sim_release(&sim);
    o.n_stuck = 8;
    simulate(&o, &sim);
    sim.spec.sheets[0].n_corners = 0; /* nothing known, nothing named */
    for (int i = 0; i < sim.survey.n_marks; i++) sim.survey.marks[i].has_nominal = false;
    err = (tr_error){0};
    assert_false(tr_survey_solve(&sim.survey, (tr_survey_align){0}, &err));
    assert_non_null(strstr(err.text, "nothing says where the frame of MAT-SIM is"));
    sim.spec.sheets[0].n_corners = TR_SURVEY_SIM_CORNERS;
    tr_survey_sim_release(&sim);
}

/* A tag that somebody pushed while the photos were taken contradicts itself. */
static void a_moved_tag_is_left_out(void **unused) {
    (void)unused;
    tr_survey_sim_options o = {.seed = 9, .noise = 1, .moved_tag = 3, .moved_mm = 5};
    tr_survey_sim sim;
    tr_error err = {0};
    simulate(&o, &sim);
    if (!tr_survey_solve(&sim.survey, by_corners(&sim), &err)) fail_msg("%s", err.text);
    assert_true(tr_findings_have(&sim.survey.findings, TR_FOUND_SIGHTINGS_LEFT_OUT));
    for (int i = 0; i < sim.survey.n_marks; i++) {
        const tr_survey_mark *m = &sim.survey.marks[i];
        if (i == 2) continue;
        assert_true(m->is_measured);
        CHECK_NEAR(m->at_mm.x, sim.at_mm[i].x, 2 * m->u95_mm[0]);
    }
    tr_survey_sim_release(&sim);
}

/* A survey's covariance against its scatter: the same survey with fresh noise, many times. Bars are
   exact here, so that it is the marks' part that is seen. */
static void covariance_by_drawing(void **unused) {
    (void)unused;
    enum { DRAWS = 150, WATCHED = 4 };
    static const int watched[WATCHED] = {0, 3, 6, 9};
    double sum2[WATCHED] = {0};
    double predicted2[WATCHED] = {0};
    for (int k = 0; k < DRAWS; k++) {
        tr_survey_sim sim;
        tr_error err = {0};
        tr_survey_sim_options o = {.seed = 100 + (uint64_t)k,
                                   .noise = 1,
                                   .draws_lens = true,
                                   .height_sd_mm = 1,
                                   .bar_sd_mm = 0.05};
        simulate(&o, &sim);
        assert_true(tr_survey_solve(&sim.survey, by_corners(&sim), &err));
        for (int i = 0; i < WATCHED; i++) {
            const tr_survey_mark *m = &sim.survey.marks[watched[i]];
            double dx = m->at_mm.x - sim.at_mm[watched[i]].x;
            double dy = m->at_mm.y - sim.at_mm[watched[i]].y;
            sum2[i] += dx * dx + dy * dy;
            predicted2[i] += (m->u95_mm[0] * m->u95_mm[0] + m->u95_mm[1] * m->u95_mm[1]) / 4;
        }
        tr_survey_sim_release(&sim);
    }
    /* The variance of n draws is right to about 2 / sqrt(n) (their x and y, and bars, go together):
       within 0.8 and 1.25 in standard deviation. */
    for (int i = 0; i < WATCHED; i++) CHECK_NEAR(sqrt(sum2[i] / predicted2[i]), 1, 0.2);
}

/* ---- from photos to files ---- */

typedef struct {
    char folder[TEMP_SIZE];
    tr_survey_sim sim;
} rendered;

/* A mat of 99.6 % x 100.3 %, tags up to 8 mm off, one stuck by hand; photos of a third of the size.
 */
static int render(void **state) {
    static rendered r;
    tr_survey_sim_options o = {.seed = 21,
                               .n_photos = 6,
                               .image_part = 0.4,
                               .misplaced_mm = 8,
                               .print_scale = {-0.004, 0.003},
                               .n_stuck = 1,
                               .n_bars = 2};
    tr_error err = {0};
    temp_make(r.folder);
    if (!tr_simulate_survey(&o, &r.sim, &err) ||
        !tr_survey_scene_write(&r.sim, r.folder, false, 2, &err)) {
        print_error("%s %s\n", err.key, err.text);
        return -1;
    }
    *state = &r;
    return 0;
}

static int remove_rendered(void **state) {
    rendered *r = *state;
    tr_survey_sim_release(&r->sim);
    temp_remove(r->folder);
    return 0;
}

static void a_rendered_mat_is_measured(void **state) {
    const rendered *r = *state;
    char path[TEMP_SIZE];
    tr_survey_spec spec;
    tr_survey v;
    tr_error err = {0};
    if (!tr_survey_spec_read(temp_path(path, r->folder, "survey.yaml"), &spec, &err)) {
        fail_msg("%s:%d %s %s", err.file, err.line, err.key, err.text);
    }
    assert_true(tr_survey_init(&spec, &v, &err));
    if (!tr_survey_run(&v, spec.photos, spec.n_photos, &(tr_workers){.n_threads = 2},
                       by_corners(&r->sim), &err)) {
        fail_msg("%s", err.text);
    }
    double sum2 = 0;
    for (int i = 0; i < v.n_marks; i++) {
        const tr_survey_mark *m = &v.marks[i];
        assert_true(m->is_measured);
        double dx = m->at_mm.x - r->sim.at_mm[i].x;
        double dy = m->at_mm.y - r->sim.at_mm[i].y;
        sum2 += dx * dx + dy * dy;
        CHECK_NEAR(dx, 0, 0.3);
        CHECK_NEAR(dy, 0, 0.3);
    }
    CHECK_AT_MOST(sqrt(sum2 / (2 * v.n_marks)), 0.15);
    CHECK_NEAR(v.sheets[0].scale[0], 0.996, 2e-4);
    CHECK_NEAR(v.sheets[0].scale[1], 1.003, 2e-4);
    tr_survey_release(&v);
    tr_survey_spec_release(&spec);
}

/* Runs the program in the folder; its exit status, and what it printed (out and err together). */
static int run(const char *folder, const char *arguments, char *out, size_t size) {
    char command[2 * TEMP_SIZE + 256];
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    snprintf(command, sizeof command, "cd '%.400s' && '%.400s' survey %.400s 2>&1", folder, program,
             arguments);
    FILE *from = popen(command, "r");
    assert_non_null(from);
    size_t n = fread(out, 1, size - 1, from);
    out[n] = 0;
    int status = pclose(from);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

static void expect(const char *folder, const char *arguments, int status, const char *words) {
    static char out[65536];
    int got = run(folder, arguments, out, sizeof out);
    if (got != status || !strstr(out, words)) fail_msg("exit %d:\n%s", got, out);
}

static bool has_file(const char *folder, const char *name) {
    char path[TEMP_SIZE];
    struct stat about;
    return stat(temp_path(path, folder, name), &about) == 0;
}

static void copy(const char *folder, const char *from, const char *to, const char *old,
                 const char *new) {
    char path[TEMP_SIZE];
    uint8_t *data;
    size_t size;
    static char text[65536];
    assert_true(tr_file_read(temp_path(path, folder, from), sizeof text, &data, &size, NULL));
    const char *at = old ? strstr((const char *)data, old) : NULL;
    if (old) assert_non_null(at);
    size_t head = at ? (size_t)(at - (const char *)data) : size;
    snprintf(text, sizeof text, "%.*s%s%s", (int)head, (const char *)data, at ? new : "",
             at ? at + strlen(old) : "");
    temp_write(temp_path(path, folder, to), text, strlen(text));
    free(data);
}

static void the_command_writes_a_sheet_that_a_check_takes(void **state) {
    const rendered *r = *state;
    char path[TEMP_SIZE];
    uint8_t *first;
    uint8_t *second;
    size_t sizes[2];
    tr_sheet sheet;
    tr_error err = {0};
    static char out[65536];
    int status = run(r->folder, "survey.yaml --out new.yaml --align c1,c2,c3,c4", out, sizeof out);
    if (status != 0) fail_msg("exit %d:\n%s", status, out);
    assert_non_null(strstr(out, "MAT-SIM: 8 tags and 8 corners measured, written to new.yaml"));
    assert_non_null(strstr(out, "Print scale: x 99.6"));
    assert_non_null(strstr(out, "corner 1, corner 2, corner 3, corner 4"));
    for (const char *line = out; *line;) {
        size_t n = strcspn(line, "\n");
        size_t columns = 0;
        for (size_t i = 0; i < n; i++) columns += ((unsigned char)line[i] & 0xc0) != 0x80;
        assert_true(columns <= 80);
        line += n + (line[n] == '\n');
    }
    if (!tr_sheet_read(temp_path(path, r->folder, "new.yaml"), &sheet, &err)) {
        fail_msg("%d %s %s", err.line, err.key, err.text);
    }
    assert_int_equal(sheet.n_tags, 8);
    assert_int_equal(sheet.survey.n_rows, 56);
    assert_int_equal(sheet.survey.n_lengths, 2);
    CHECK_NEAR(sheet.tags[0].centre_mm.x, r->sim.at_mm[0].x, 0.3);
    tr_sheet_release(&sheet);
    /* An older survey may be replaced; the same input gives the same bytes. */
    assert_true(tr_file_read(path, 1 << 20, &first, &sizes[0], NULL));
    expect(r->folder, "survey.yaml --out new.yaml --align c1,c2,c3,c4 --threads 1 --json", 0,
           "\"measured\": true");
    assert_true(tr_file_read(path, 1 << 20, &second, &sizes[1], NULL));
    assert_int_equal(sizes[0], sizes[1]);
    assert_memory_equal(first, second, sizes[0]);
    free(first);
    free(second);
}

static void the_command_refuses(void **state) {
    const char *folder = ((rendered *)*state)->folder;
    expect(folder, "survey.yaml", 64, "'--out' is missing");
    expect(folder, "--out x.yaml", 64, "no survey file is named");
    expect(folder, "survey.yaml --out x.yaml --colour", 64, "there is no option '--colour'");
    expect(folder, "survey.yaml --out mat.yaml", 64, "already exists and is not a surveyed sheet");
    expect(folder, "survey.yaml --out 01.jpg", 64, "already exists and is not a surveyed sheet");
    expect(folder, "survey.yaml --out survey.yaml", 64,
           "already exists and is not a surveyed sheet");
    expect(folder, "survey.yaml --out x.yaml --align 77", 3, "there is no tag 77 on the sheets");
    expect(folder, "survey.yaml --out x.yaml --align c9", 3, "there is no corner 9");
    expect(folder, "survey.yaml --out x.yaml --align zz", 3, "'zz' is not a mark");
    expect(folder, "survey.yaml --out x.yaml --align PLATE:40", 3,
           "names sheet PLATE, which is not in");
    expect(folder, "survey.yaml 01.jpg --out x.yaml", 3, "only 1 of 1 photos can be used");
    expect(folder, "none.yaml --out x.yaml", 3, "none.yaml");
    static const char TEXT[] = "survey: A\nlens: lens.yaml\nsheets: [mat.yaml]\n"
                               "rules: [{ sheet: MAT-SIM, x_mm: 100, sd_mm: 0.1 }]\n";
    char path[TEMP_SIZE];
    temp_write(temp_path(path, folder, "no-photos.yaml"), TEXT, strlen(TEXT));
    expect(folder, "no-photos.yaml --out x.yaml", 3, "no-photos.yaml: names no photos");
    copy(folder, "survey.yaml", "wrong.yaml", "distance_mm: 1000,", "distance_mm: 1003,");
    expect(folder, "wrong.yaml --out x.yaml", 3, "the known lengths contradict each other");
    assert_false(has_file(folder, "x.yaml"));
    copy(folder, "survey.yaml", "wrong.yaml", "tags: [100, 101]", "tags: [300, 301]");
    copy(folder, "wrong.yaml", "wrong2.yaml", "tags: [102, 103]", "tags: [302, 303]");
    expect(folder, "wrong2.yaml --out x.yaml --json", 3, "no known length is in view");
    assert_false(has_file(folder, "x.yaml"));
}

/* The mat as two sheets, each with some of its marks; the file of the second is too large. */
static void a_file_that_was_written_is_named(void **state) {
    const rendered *r = *state;
    char path[TEMP_SIZE];
    char command[2 * TEMP_SIZE + 256];
    static char out[65536];
    const char *program = getenv("TRAMMEL_PROGRAM");
    assert_non_null(program);
    tr_sheet part = r->sim.spec.sheets[0];
    assert_int_equal(part.n_tags, 7);
    snprintf(part.id, sizeof part.id, "MAT-ONE");
    part.n_tags = 3;
    part.n_corners = 0;
    assert_true(tr_sheet_write(temp_path(path, r->folder, "one.yaml"), &part, NULL));
    part = r->sim.spec.sheets[0];
    part.tags += 3;
    part.n_tags -= 3;
    assert_true(tr_sheet_write(temp_path(path, r->folder, "two.yaml"), &part, NULL));
    copy(r->folder, "survey.yaml", "parts.yaml", "[mat.yaml]", "[one.yaml, two.yaml]");
    assert_int_equal(mkdir(temp_path(path, r->folder, "parts"), 0700), 0);
    for (int is_json = 0; is_json < 2; is_json++) {
        /* In blocks of 512 bytes. */
        snprintf(command, sizeof command,
                 "cd '%.400s' && trap '' XFSZ && ulimit -f 12 && '%.400s' survey parts.yaml --out "
                 "parts %s 2>/dev/null",
                 r->folder, program, is_json ? "--json" : "");
        FILE *from = popen(command, "r");
        assert_non_null(from);
        out[fread(out, 1, sizeof out - 1, from)] = 0;
        int status = pclose(from);
        assert_true(WIFEXITED(status));
        const char *words = is_json
                                ? "\"file\": \"parts/one.yaml\""
                                : "Written: 1 of 2 files (parts/one.yaml). Then: parts/two.yaml: ";
        if (WEXITSTATUS(status) != 3 || !strstr(out, words)) fail_msg("%d:\n%s", status, out);
        if (is_json) assert_non_null(strstr(out, "\"file\": null"));
        assert_null(strstr(out, "Nothing was written"));
    }
    assert_true(has_file(r->folder, "parts/one.yaml"));
    assert_false(has_file(r->folder, "parts/two.yaml"));
    /* Where even the first cannot be made, none is. */
    copy(r->folder, "survey.yaml", "none.yaml", NULL, NULL);
    expect(r->folder, "none.yaml 01.jpg --out x.yaml", 3, "Nothing was written: only 1 of 1");
}

/* ---- the survey file ---- */

static void a_bad_survey_file_is_refused(void **state) {
    const char *folder = ((rendered *)*state)->folder;
    static const struct {
        const char *old, *new, *words;
    } cases[] = {
        {"lens: lens.yaml", "lense: lens.yaml", "is not a known key"},
        {"sheets: [mat.yaml]", "sheets: []", "is a list of 0"},
        {"sheets: [mat.yaml]", "sheets: [mat.yaml, mat.yaml]", "which"},
        {"id: 47,", "id: 40,", "has tag 40 of tag36h11, which sheet MAT-SIM has already"},
        {"id: 47,", "id: 587,", "give a whole number from 0 to 586"},
        {"sheet: MAT-SIM, id", "sheet: MAT-8, id", "which no file in 'sheets' defines"},
        {"tags: [100, 101]", "tags: [100, 47]", "which stuck[0] has already"},
        {"tags: [100, 101]", "tags: [100, 100]", "the same tag twice"},
        {"tags: [102, 103]", "tags: [100, 103]", "which bar BAR-1 has already"},
        {"distance_mm: 1000,", "distance_mm: 50,", "the tags would lie over each other"},
        {"sd_mm: 0.0", "sd_mm: -0.0", "above 0"},
        {"bar: BAR-2", "bar: BAR-1", "as is bars[0]"},
        {"  - { bar: BAR-1,", "  - { file: none.yaml }\n  - { bar: BAR-1,", "none.yaml"},
        {"photos:\n", "rules: [{ sheet: MAT-SIM, sd_mm: 0.1 }]\nphotos:\n",
         "neither x_mm nor y_mm"},
        {"photos:\n", "rules: [{ sheet: MAT-SIM, x_mm: 80, sd_mm: 0.1 }]\nphotos:\n",
         "from 90 to 110"},
        {"photos:\n", "photos:\n  - 01.jpg\n", "is the same photo as photos[0]"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char path[TEMP_SIZE];
        tr_survey_spec spec;
        tr_error err = {0};
        char text[1024];
        copy(folder, "survey.yaml", "bad.yaml", cases[i].old, cases[i].new);
        bool ok = tr_survey_spec_read(temp_path(path, folder, "bad.yaml"), &spec, &err);
        tr_error_print(&err, text, sizeof text);
        if (ok || !strstr(text, cases[i].words)) {
            fail_msg("%s: %s (wanted: %s)", cases[i].new, ok ? "taken" : text, cases[i].words);
        }
        assert_null(spec.sheets);
    }
}

static void a_survey_without_a_length_is_refused(void **state) {
    const char *folder = ((rendered *)*state)->folder;
    char path[TEMP_SIZE];
    tr_survey_spec spec;
    tr_error err = {0};
    static const char TEXT[] = "survey: A\nlens: lens.yaml\nsheets: [mat.yaml]\n";
    temp_write(temp_path(path, folder, "bad.yaml"), TEXT, strlen(TEXT));
    assert_false(tr_survey_spec_read(path, &spec, &err));
    assert_non_null(strstr(err.text, "names no known length"));
}

/* Discs are of no survey. */
static void a_sheet_with_discs_is_refused(void **state) {
    const char *folder = ((rendered *)*state)->folder;
    char path[TEMP_SIZE];
    tr_survey_spec spec;
    tr_error err = {0};
    static const char SHEET[] =
        "sheet: D\ntitle: Discs\nkind: mat\nsize_mm: [400, 300]\ntag_family: tag36h11\ntags: []\n"
        "discs: [{ centre_mm: [0, 0], diameter_mm: 80 }]\n";
    temp_write(temp_path(path, folder, "discs.yaml"), SHEET, strlen(SHEET));
    copy(folder, "survey.yaml", "bad.yaml", "[mat.yaml]", "[mat.yaml, discs.yaml]");
    assert_false(tr_survey_spec_read(temp_path(path, folder, "bad.yaml"), &spec, &err));
    assert_non_null(strstr(err.text, "has discs, which no survey measures"));
}

/* A bar in a file of its own, and a tag stuck where its x is known. */
static void a_bar_may_have_a_file(void **state) {
    const char *folder = ((rendered *)*state)->folder;
    char path[TEMP_SIZE];
    tr_survey_spec spec;
    tr_error err = {0};
    static const char BAR[] = "bar: LONG\ntag_family: tag36h11\ntags: [200, 201]\nsize_mm: 80\n"
                              "distance_mm: 1500.2\nsd_mm: 0.1\n";
    static const char TEXT[] = "survey: A\nlens: lens.yaml\nsheets: [mat.yaml]\n"
                               "stuck: [{ sheet: MAT-SIM, id: 90, size_mm: 60, x_mm: -3.5 "
                               "}]\nbars: [{ file: bar.yaml }]\n";
    temp_write(temp_path(path, folder, "bar.yaml"), BAR, strlen(BAR));
    temp_write(temp_path(path, folder, "own.yaml"), TEXT, strlen(TEXT));
    if (!tr_survey_spec_read(path, &spec, &err)) fail_msg("%d %s %s", err.line, err.key, err.text);
    assert_int_equal(spec.n_bars, 1);
    assert_string_equal(spec.bars[0].id, "LONG");
    assert_int_equal(spec.bars[0].tag[1], 201);
    CHECK_NEAR(spec.bars[0].distance_mm, 1500.2, 0);
    assert_int_equal(tr_survey_n_tags(&spec, 0), 8);
    const tr_stuck_tag *t = tr_survey_stuck(&spec, 0, 7);
    assert_non_null(t);
    assert_int_equal(t->id, 90);
    assert_true(t->is_known[0] && !t->is_known[1]);
    CHECK_NEAR(t->at_mm.x, -3.5, 0);
    tr_mark_name name;
    assert_true(tr_survey_find_mark(&spec, "90", &name, NULL));
    assert_true(name.is_tag && name.index == 7);
    assert_true(tr_survey_find_mark(&spec, "MAT-SIM:c8", &name, NULL));
    assert_true(!name.is_tag && name.index == 7);
    tr_survey_spec_release(&spec);
}

int main(void) {
    const struct CMUnitTest frames[] = {
        cmocka_unit_test(a_frame_is_found),
        cmocka_unit_test(a_frame_rests_on_marks_that_agree),
        cmocka_unit_test(a_frame_gain_by_moving_marks),
        cmocka_unit_test(few_marks_make_what_frame_they_can),
        cmocka_unit_test(exact_marks_are_measured_exactly),
        cmocka_unit_test(distances_do_not_depend_on_the_frame),
        cmocka_unit_test(two_stuck_tags_are_the_centre_line),
        cmocka_unit_test(a_stuck_tag_of_another_size_is_told),
        cmocka_unit_test(a_rule_carries_the_scale),
        cmocka_unit_test(sizes_of_tags_carry_no_scale),
        cmocka_unit_test(unknowns_have_names),
        cmocka_unit_test(a_wrong_bar_is_caught),
        cmocka_unit_test(a_bar_that_is_far_wrong_is_caught),
        cmocka_unit_test(one_bar_is_not_enough_to_be_sure),
        cmocka_unit_test(what_cannot_be_measured_is_refused),
        cmocka_unit_test(a_moved_tag_is_left_out),
        cmocka_unit_test(covariance_by_drawing),
    };
    const struct CMUnitTest photos[] = {
        cmocka_unit_test(a_rendered_mat_is_measured),
        cmocka_unit_test(the_command_writes_a_sheet_that_a_check_takes),
        cmocka_unit_test(the_command_refuses),
        cmocka_unit_test(a_file_that_was_written_is_named),
        cmocka_unit_test(a_bad_survey_file_is_refused),
        cmocka_unit_test(a_sheet_with_discs_is_refused),
        cmocka_unit_test(a_survey_without_a_length_is_refused),
        cmocka_unit_test(a_bar_may_have_a_file),
    };
    int failed = cmocka_run_group_tests_name("survey", frames, NULL, NULL);
    failed += cmocka_run_group_tests_name("survey_photos", photos, render, remove_rendered);
    return failed;
}
