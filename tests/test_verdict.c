/* The decision at its edges, what it risks, and the moves that a person is told. */
#include "check.h"
#include "draw.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "geom/geom.h"
#include "present/moves.h"
#include "verdict/verdict.h"

/* The standard normal distribution function. */
static double Phi(double z) {
    return 0.5 * erfc(-z / sqrt(2.0));
}

/* ---- the rule ---- */

/* Limit 10, u95 2, by the contract's definition ("Verdict"). */
static void the_rule_at_its_edges(void **state) {
    (void)state;
    static const struct {
        double error, u95;
        tr_verdict verdict;
    } cases[] = {
        {0, 2, TR_PASS},
        {8.0, 2, TR_PASS},
        {8.001, 2, TR_INCONCLUSIVE},
        {10, 2, TR_INCONCLUSIVE},
        {12.0, 2, TR_INCONCLUSIVE},
        {12.001, 2, TR_FAIL},
        {1e9, 2, TR_FAIL},
        {10, 0, TR_PASS},
        {10.000001, 0, TR_FAIL},
        {0, 10, TR_PASS},
        {0, 10.001, TR_INCONCLUSIVE}, /* above the limit: never a pass */
        {0, 1e9, TR_INCONCLUSIVE},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        assert_int_equal(tr_verdict_decide(cases[i].error, cases[i].u95, 10), cases[i].verdict);
        assert_int_equal(tr_verdict_decide(-cases[i].error, cases[i].u95, 10), cases[i].verdict);
    }
}

static void what_is_no_number_is_inconclusive(void **state) {
    (void)state;
    static const double bad[] = {NAN, INFINITY, -INFINITY};
    for (int i = 0; i < 3; i++) {
        assert_int_equal(tr_verdict_decide(bad[i], 2, 10), TR_INCONCLUSIVE);
        assert_int_equal(tr_verdict_decide(0, bad[i], 10), TR_INCONCLUSIVE);
        assert_int_equal(tr_verdict_decide(0, 2, bad[i]), TR_INCONCLUSIVE);
    }
    assert_int_equal(tr_verdict_decide(0, -1, 10), TR_INCONCLUSIVE);
}

/* A greater uncertainty never makes a pass of anything else, nor a fail. */
static void doubt_decides_nothing(void **state) {
    (void)state;
    tr_draw d = draw_seeded("doubt decides nothing");
    for (int i = 0; i < 5000; i++) {
        double error = draw_between(&d, -25, 25);
        double u95 = draw_between(&d, 0, 12);
        double more = u95 + draw_between(&d, 0, 3);
        tr_verdict a = tr_verdict_decide(error, u95, 10);
        tr_verdict b = tr_verdict_decide(error, more, 10);
        assert_true(b == a || b == TR_INCONCLUSIVE);
        if (u95 > 10) assert_int_not_equal(a, TR_PASS);
        if (fabs(error) > 10) assert_int_not_equal(a, TR_PASS);
        if (fabs(error) <= 10) assert_int_not_equal(a, TR_FAIL);
    }
}

/* fail over inconclusive over pass, in whatever order the parts come. */
static void verdicts_join(void **state) {
    (void)state;
    static const tr_verdict table[3][3] = {
        [TR_PASS] = {[TR_PASS] = TR_PASS, [TR_FAIL] = TR_FAIL, [TR_INCONCLUSIVE] = TR_INCONCLUSIVE},
        [TR_FAIL] = {[TR_PASS] = TR_FAIL, [TR_FAIL] = TR_FAIL, [TR_INCONCLUSIVE] = TR_FAIL},
        [TR_INCONCLUSIVE] =
            {[TR_PASS] = TR_INCONCLUSIVE, [TR_FAIL] = TR_FAIL, [TR_INCONCLUSIVE] = TR_INCONCLUSIVE},
    };
    for (int a = 0; a < 3; a++) {
        for (int b = 0; b < 3; b++) {
            assert_int_equal(tr_verdict_join((tr_verdict)a, (tr_verdict)b), table[a][b]);
        }
    }
    assert_string_equal(tr_verdict_name(TR_PASS), "pass");
    assert_string_equal(tr_verdict_name(TR_FAIL), "fail");
    assert_string_equal(tr_verdict_name(TR_INCONCLUSIVE), "inconclusive");
}

/* ---- what it risks ---- */

/* ILAC-G8:09/2019, table of guard bands: w as a part of U = 2u, and the upper bound of the
   probability of accepting what lies at the limit. Computed: 1 - Phi(2 w / U). */
static void guard_bands(void **state) {
    (void)state;
    static const struct {
        double w, stated, computed;
    } rows[] = {
        {0, 0.50, 0.50},        /* simple acceptance */
        {0.83, 0.05, 0.0485},   /* ISO 14253-1:2017 */
        {1, 0.025, 0.0228},     /* ILAC-G8, and the contract */
        {1.5, 0.0016, 0.00135}, /* 3 sigma */
        {3, 1e-6, 1e-9},        /* 6 sigma */
    };
    for (size_t i = 0; i < sizeof rows / sizeof *rows; i++) {
        double risk = 1 - Phi(2 * rows[i].w);
        CHECK_NEAR(risk, rows[i].computed, 0.015 * rows[i].computed);
        CHECK_AT_MOST(risk, rows[i].stated);
    }
    /* The rule itself, on drawn measurements (sd u) of a thing that lies just at the limit 10. */
    enum { N = 400000 };
    static const double sds[] = {0.1, 1, 2.5};
    for (int s = 0; s < 3; s++) {
        tr_draw d = draw_seeded("guard bands");
        long passed = 0;
        long failed = 0;
        for (int i = 0; i < N; i++) {
            double error = 10 + sds[s] * draw_normal(&d);
            tr_verdict v = tr_verdict_decide(error, TR_COVERAGE_FACTOR * sds[s], 10);
            passed += v == TR_PASS;
            failed += v == TR_FAIL;
        }
        /* 1 - Phi(2) = 0.02275; four standard deviations of the count. */
        double tol = 4 * sqrt(0.02275 * 0.97725 / N);
        CHECK_NEAR((double)passed / N, 1 - Phi(2), tol);
        CHECK_NEAR((double)failed / N, 1 - Phi(2), tol);
        CHECK_AT_MOST((double)passed / N, 0.025);
    }
}

/* Probability that a thing measured as y with standard uncertainty u lies within [low, high],
   either may be infinite: JCGM 106:2012, 7.2 to 7.4. */
static double conformance(double y, double u, double low, double high) {
    return Phi((high - y) / u) - Phi((low - y) / u);
}

static void conformance_probabilities_of_jcgm_106(void **state) {
    (void)state;
    /* 7.3.3, example 1: breakdown voltage, upper limit. */
    CHECK_NEAR(conformance(-5.47, 0.05, -INFINITY, -5.40), 0.919, 0.0005);
    /* 7.3.3, example 2: burst pressure in kPa, lower limit. */
    CHECK_NEAR(conformance(509.7, 8.6, 490, INFINITY), 0.989, 0.0005);
    /* 7.4: kinematic viscosity in mm^2/s, two limits (unrounded 0.6626). */
    CHECK_NEAR(conformance(13.6, 1.8, 12.5, 16.3), 0.6626, 0.0001);
    /* Table of z and p. */
    static const double z[] = {1.28, 1.64, 2.33, 3.09};
    static const double p[] = {0.90, 0.95, 0.99, 0.999};
    for (int i = 0; i < 4; i++) CHECK_NEAR(Phi(z[i]), p[i], 0.0007);
    /* 8.3.3.2, example 1: speed limit 100 km/h, 2 % relative: accepted up to 106.6, stated as 107.
     */
    CHECK_NEAR(100 / (1 - 3.09 * 0.02), 106.6, 0.05);
}

/* A pass says: beyond either limit with a probability of at most 1 - Phi(2) = 2.3 %. So the
   conformance probability is at least 97.7 % where one limit matters, that is for u95 up to half
   the limit, and 95.4 % at worst, where u95 is the limit itself and both do. A fail likewise. */
static void what_a_verdict_is_worth(void **state) {
    (void)state;
    tr_draw d = draw_seeded("what a verdict is worth");
    const double limit = 10;
    int n_pass = 0;
    int n_fail = 0;
    for (int i = 0; i < 200000; i++) {
        double u95 = draw_between(&d, 0.01, 10);
        double error = draw_between(&d, -25, 25);
        double u = u95 / TR_COVERAGE_FACTOR;
        double p = conformance(error, u, -limit, limit);
        switch (tr_verdict_decide(error, u95, limit)) {
        case TR_PASS:
            n_pass++;
            assert_true(Phi((limit - error) / u) >= 0.97724);
            assert_true(1 - Phi((-limit - error) / u) >= 0.97724);
            assert_true(p >= (u95 <= limit / 2 ? 0.97724 : 0.9544));
            break;
        case TR_FAIL:
            n_fail++;
            assert_true(1 - p >= 0.97724);
            break;
        case TR_INCONCLUSIVE: break;
        }
    }
    assert_true(n_pass > 10000 && n_fail > 10000);
    /* The least that a pass can be worth. */
    assert_int_equal(tr_verdict_decide(0, limit, limit), TR_PASS);
    CHECK_NEAR(conformance(0, limit / 2, -limit, limit), 0.9545, 0.0001);
}

/* ---- moves ---- */

typedef struct {
    tr_axis_result axis[TR_N_AXES];
    char moves[TR_MAX_MOVES][TR_MOVE_SIZE];
    int n;
} placement;

static placement placed(double dx_mm, double dy_mm, double yaw_deg, double limit_mm,
                        double limit_deg) {
    placement p = {.n = 0};
    static const double required[TR_N_AXES] = {[TR_X] = -1800, [TR_Y] = 40, [TR_YAW] = 0.2};
    double error[TR_N_AXES] = {[TR_X] = dx_mm, [TR_Y] = dy_mm, [TR_YAW] = yaw_deg * TR_RAD_PER_DEG};
    for (int k = 0; k < TR_N_AXES; k++) {
        double limit = tr_axis_is_angle((tr_axis)k) ? limit_deg * TR_RAD_PER_DEG : limit_mm;
        p.axis[k] = (tr_axis_result){.is_required = true,
                                     .is_judged = limit > 0,
                                     .required = required[k],
                                     .limit = limit,
                                     .is_measured = true,
                                     .measured = required[k] + error[k],
                                     .error = error[k]};
    }
    return p;
}

static void tell(placement *p) {
    p->n = tr_moves_lying("the mat", p->axis, p->moves);
}

static void wording(void **state) {
    (void)state;
    static const struct {
        double dx, dy, yaw;
        const char *says;
        int n;
    } cases[] = {
        {12.1, -3.2, 0.91,
         "Slide the mat 12 mm backward and 3 mm to the vehicle's left, then turn it 0.9° clockwise "
         "seen from above.",
         2},
        {-12.1, 3.2, -0.91,
         "Slide the mat 12 mm forward and 3 mm to the vehicle's right, then turn it 0.9° "
         "anticlockwise seen from above.",
         2},
        {-24, 0.4, 0, "Slide the mat 24 mm forward, without turning it.", 1},
        {0.4, 24, 0.04, "Slide the mat 24 mm to the vehicle's right, without turning it.", 1},
        {5, -6, 0,
         "Slide the mat 5 mm backward and 6 mm to the vehicle's left, without turning it.", 1},
        {0, 0, -1.5, "Turn the mat 1.5° anticlockwise seen from above.", 2},
        {-3, 0, 2, "Slide the mat 3 mm forward, then turn it 2.0° clockwise seen from above.", 2},
        /* Nothing that rounds to nothing is told. */
        {0.49, -0.49, 0.049, NULL, 0},
        {0, 0, 0, NULL, 0},
        {-0.0, -0.0, -0.0, NULL, 0},
        {0.51, 0, 0, "Slide the mat 1 mm backward, without turning it.", 1},
        /* A mat the wrong way round. */
        {0, 0, 180, "Turn the mat 180.0° clockwise seen from above.", 2},
        {-123456, 0, 0, "Slide the mat 123456 mm forward, without turning it.", 1},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        placement p = placed(cases[i].dx, cases[i].dy, cases[i].yaw, 10, 0.5);
        tell(&p);
        assert_int_equal(p.n, cases[i].n);
        if (p.n > 0) assert_string_equal(p.moves[0], cases[i].says);
        if (p.n > 1) {
            assert_string_equal(p.moves[1], "Its centre mark stays where it is while you turn it.");
        }
    }
}

/* Close limits are told finer: mm below 5 mm in tenths, angles below 0.3° in hundredths. */
static void rounding(void **state) {
    (void)state;
    static const struct {
        double limit_mm, limit_deg;
        const char *says;
    } cases[] = {
        {10, 0.5, "Slide the mat 2 mm backward, then turn it 1.2° clockwise seen from above."},
        {5, 0.3, "Slide the mat 2 mm backward, then turn it 1.2° clockwise seen from above."},
        {4.9, 0.29, "Slide the mat 2.3 mm backward, then turn it 1.23° clockwise seen from above."},
        {1, 0.1, "Slide the mat 2.3 mm backward, then turn it 1.23° clockwise seen from above."},
        {0, 0, "Slide the mat 2 mm backward, then turn it 1.2° clockwise seen from above."},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        placement p = placed(2.34, 0, 1.234, cases[i].limit_mm, cases[i].limit_deg);
        tell(&p);
        assert_int_equal(p.n, 2);
        assert_string_equal(p.moves[0], cases[i].says);
    }
}

/* The sheet is called what the caller calls it. */
static void a_name(void **state) {
    (void)state;
    placement p = placed(0.2, -0.3, -0.8, 10, 0.5);
    assert_int_equal(tr_moves_lying("MAT-7", p.axis, p.moves), 2);
    assert_string_equal(p.moves[0], "Turn MAT-7 0.8° anticlockwise seen from above.");
}

static void nothing_is_told_of_what_is_not_known(void **state) {
    (void)state;
    static const tr_axis needed[] = {TR_X, TR_Y, TR_YAW};
    for (int k = 0; k < 3; k++) {
        placement p = placed(20, 20, 2, 10, 0.5);
        p.axis[needed[k]].is_measured = false;
        tell(&p);
        assert_int_equal(p.n, 0);
        p = placed(20, 20, 2, 10, 0.5);
        p.axis[needed[k]].is_required = false;
        tell(&p);
        assert_int_equal(p.n, 0);
    }
    /* What is not needed for it may be missing. */
    placement p = placed(20, 20, 2, 10, 0.5);
    p.axis[TR_Z].is_measured = p.axis[TR_PITCH].is_measured = p.axis[TR_ROLL].is_measured = false;
    tell(&p);
    assert_int_equal(p.n, 2);
}

/* The number that stands right before `words` in a sentence, 0 where they do not stand there. */
static double amount(const char *sentence, const char *words) {
    const char *at = strstr(sentence, words);
    if (!at) return 0;
    const char *from = at;
    while (from > sentence && strchr("0123456789.", from[-1])) from--;
    assert_true(from < at);
    return strtod(from, NULL);
}

/* Doing exactly what is told lands on the required place, but for the rounding. */
static void doing_it_lands_there(void **state) {
    (void)state;
    tr_draw d = draw_seeded("doing it lands there");
    for (int i = 0; i < 3000; i++) {
        bool is_close = i % 3 == 0;
        placement p = placed(draw_between(&d, -40, 40) * (i % 5 > 0), draw_between(&d, -40, 40),
                             draw_between(&d, -20, 20) * (i % 7 > 0), is_close ? 2 : 10,
                             is_close ? 0.1 : 0.5);
        tell(&p);
        double x = p.axis[TR_X].measured;
        double y = p.axis[TR_Y].measured;
        double yaw = p.axis[TR_YAW].measured;
        if (p.n > 0) {
            /* The vehicle frame: forward +X, left +Y, anticlockwise seen from above +. */
            const char *s = p.moves[0];
            x += amount(s, " mm forward") - amount(s, " mm backward");
            y += amount(s, " mm to the vehicle's left") - amount(s, " mm to the vehicle's right");
            yaw += (amount(s, "° anticlockwise") - amount(s, "° clockwise")) * TR_RAD_PER_DEG;
        }
        CHECK_NEAR(x, p.axis[TR_X].required, is_close ? 0.0501 : 0.501);
        CHECK_NEAR(y, p.axis[TR_Y].required, is_close ? 0.0501 : 0.501);
        CHECK_NEAR(yaw, p.axis[TR_YAW].required, (is_close ? 0.00501 : 0.0501) * TR_RAD_PER_DEG);
    }
}

/* A name that is too long is cut, not written past the end. */
static void a_long_name(void **state) {
    (void)state;
    char name[2 * TR_MOVE_SIZE];
    placement p = placed(20, 20, 2, 10, 0.5);
    memset(name, 'm', sizeof name - 1);
    name[sizeof name - 1] = 0;
    assert_int_equal(tr_moves_lying(name, p.axis, p.moves), 2);
    assert_int_equal(strlen(p.moves[0]), TR_MOVE_SIZE - 1);
}

/* ---- a board on a stand ---- */

static void set_axis(tr_axis_result *r, double error, double limit) {
    *r = (tr_axis_result){.is_required = true,
                          .is_judged = true,
                          .limit = limit,
                          .is_measured = true,
                          .error = error};
}

/* Each error is undone: a board that stands too high is lowered, one that leans back too far comes
   forward, one that is turned anticlockwise is turned clockwise. */
static void moves_of_a_board(void **state) {
    (void)state;
    tr_axis_result axis[TR_N_AXES];
    char moves[TR_MAX_MOVES][TR_MOVE_SIZE];
    set_axis(&axis[TR_X], 12, 10);
    set_axis(&axis[TR_Y], -3, 10);
    set_axis(&axis[TR_Z], -8, 10);
    set_axis(&axis[TR_YAW], 0.4 * TR_RAD_PER_DEG, 0.5 * TR_RAD_PER_DEG);
    set_axis(&axis[TR_PITCH], -0.3 * TR_RAD_PER_DEG, 0.5 * TR_RAD_PER_DEG);
    set_axis(&axis[TR_ROLL], 0.2 * TR_RAD_PER_DEG, 0.5 * TR_RAD_PER_DEG);
    assert_int_equal(tr_moves_upright("BOARD-1", axis, moves), 2);
    assert_string_equal(moves[0],
                        "Move the stand of BOARD-1 12 mm backward and 3 mm to the vehicle's left.");
    assert_string_equal(moves[1], "Then turn it 0.4° clockwise seen from above, raise it by 8 mm, "
                                  "tilt its top back 0.3°, turn its face 0.2° anticlockwise, seen "
                                  "from before it.");
    for (int k = 0; k < TR_N_AXES; k++) axis[k].error = -axis[k].error;
    axis[TR_X].error = axis[TR_Y].error = 0;
    assert_int_equal(tr_moves_upright("BOARD-1", axis, moves), 1);
    assert_string_equal(moves[0], "Adjust BOARD-1: turn it 0.4° anticlockwise seen from above, "
                                  "lower it by 8 mm, tilt its top 0.3° towards the side it faces, "
                                  "turn its face 0.2° clockwise, seen from before it.");
    /* Of what is not required nothing is said. */
    axis[TR_Z].is_required = axis[TR_PITCH].is_required = axis[TR_ROLL].is_required = false;
    axis[TR_YAW].error = 0;
    assert_int_equal(tr_moves_upright("BOARD-1", axis, moves), 0);
    axis[TR_X].is_measured = false;
    assert_int_equal(tr_moves_upright("BOARD-1", axis, moves), 0);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_rule_at_its_edges),
        cmocka_unit_test(what_is_no_number_is_inconclusive),
        cmocka_unit_test(doubt_decides_nothing),
        cmocka_unit_test(verdicts_join),
        cmocka_unit_test(guard_bands),
        cmocka_unit_test(conformance_probabilities_of_jcgm_106),
        cmocka_unit_test(what_a_verdict_is_worth),
        cmocka_unit_test(wording),
        cmocka_unit_test(rounding),
        cmocka_unit_test(a_name),
        cmocka_unit_test(nothing_is_told_of_what_is_not_known),
        cmocka_unit_test(doing_it_lands_there),
        cmocka_unit_test(a_long_name),
        cmocka_unit_test(moves_of_a_board),
    };
    return cmocka_run_group_tests_name("verdict", tests, NULL, NULL);
}
