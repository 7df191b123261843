/* How a camera shows the pattern about an edge: against a convolution summed point by point, in
   double precision and in the image rather than along the tag's axes; its derivatives against
   differences; the normal distribution against the C library's. */
#include "check.h"

#include <string.h>

#include "marks/edge_model.h"
#include "marks/lanes.h"

static void normal_distribution_as_erfc(void **state) {
    (void)state;
    for (int i = -800; i <= 800; i++) {
        double t = i / 100.0;
        float density;
        double below = (double)tr_normal_below((float)t, &density);
        /* 1.5e-7 and rounding; beyond 4.9 standard deviations it stays at 4.0e-7. */
        CHECK_NEAR(below, erfc(-t / sqrt(2)) / 2, 5e-7);
        /* Beyond 4.9 standard deviations the density stays what it is there. */
        CHECK_NEAR((double)density, exp(-t * t / 2) / sqrt(2 * acos(-1)), 3e-6);
    }
}

static void sums_of_products_as_one_by_one(void **state) {
    (void)state;
    static tr_edge_basis basis;
    double product[TR_EDGE_N_BASIS][TR_EDGE_N_BASIS];
    for (int n = 1; n <= TR_EDGE_MAX_PIXELS; n += 5) {
        for (int r = 0; r < TR_EDGE_N_BASIS; r++) {
            /* What lies behind the pixels must not count. */
            for (int i = 0; i < TR_EDGE_MAX_PIXELS; i++) {
                basis[r][i] = i < n ? (float)sin(1.7 * r + 0.31 * i) : 1e6F;
            }
        }
        tr_edge_products(basis, n, product);
        for (int r = 0; r < TR_EDGE_N_BASIS; r++) {
            for (int c = 0; c <= r; c++) {
                double sum = 0;
                for (int i = 0; i < n; i++) sum += (double)basis[r][i] * (double)basis[c][i];
                CHECK_NEAR(product[r][c], sum, 1e-5);
            }
        }
    }
}

/* ---- the pattern ---- */

/* An edge in the image: at the origin, its unit normal, that of the edges that cross it, and the
   length of its cell along that normal. */
typedef struct {
    tr_edge_model model;
    double normal[2], end[2];
    double length_px;
} view;

static view view_of(double angle, double skew, double sigma_px, double length_px) {
    view v = {.length_px = length_px};
    v.normal[0] = cos(angle);
    v.normal[1] = sin(angle);
    double turn = angle + acos(skew);
    v.end[0] = cos(turn);
    v.end[1] = sin(turn);
    static const float colour[3][4] = {{0, 1, 0, 0}, {1, 0, 1, 0}, {1, 0, 1, 1}};
    memcpy(v.model.colour, colour, sizeof colour);
    v.model.cell_px[0] = 3.1F;
    v.model.cell_px[1] = 3.4F;
    v.model.sigma_px = (float)sigma_px;
    v.model.sigma_along = (float)(sigma_px / length_px);
    v.model.skew = (float)skew;
    return v;
}

static double dot(const double a[2], const double b[2]) {
    return a[0] * b[0] + a[1] * b[1];
}

static double colour_at(const view *v, const double q[2]) {
    double along = dot(v->end, q) / v->length_px;
    double across = dot(v->normal, q);
    int t = along < -0.5 ? 0 : along > 0.5 ? 2 : 1;
    int n = across < -(double)v->model.cell_px[0]  ? 0
            : across < 0                           ? 1
            : across < (double)v->model.cell_px[1] ? 2
                                                   : 3;
    return (double)v->model.colour[t][n];
}

/* The pattern blurred by a round normal distribution about q. */
static double convolved(const view *v, const double q[2]) {
    enum { STEPS = 400 };
    double sigma = (double)v->model.sigma_px;
    double sum = 0;
    double weights = 0;
    for (int i = 0; i < STEPS; i++) {
        for (int j = 0; j < STEPS; j++) {
            double a = 5 * (2 * (i + 0.5) / STEPS - 1);
            double b = 5 * (2 * (j + 0.5) / STEPS - 1);
            double w = exp(-(a * a + b * b) / 2);
            double p[2] = {q[0] + a * sigma, q[1] + b * sigma};
            sum += w * colour_at(v, p);
            weights += w;
        }
    }
    return sum / weights;
}

/* IEC 61966-2-1 is about a square root; with the black of the model. */
static double root_curve(double light) {
    double dark = sqrt(0.03);
    return (sqrt(light + 0.03) - dark) / (sqrt(1.03) - dark) - 0.5;
}

static void put_pixels(const view *v, tr_edge_pixels *px, double (*q)[2]) {
    px->n = 0;
    for (double along = -0.5; along <= 0.51; along += 0.25) {
        for (double across = -2.4; across <= 2.41; across += 0.6) {
            /* Where along and across are both as asked. */
            double det = v->end[0] * v->normal[1] - v->end[1] * v->normal[0];
            double e = along * v->length_px;
            q[px->n][0] = (e * v->normal[1] - across * v->end[1]) / det;
            q[px->n][1] = (across * v->end[0] - e * v->normal[0]) / det;
            px->along[px->n] = (float)along;
            px->across[px->n] = (float)across;
            px->grey[px->n++] = (float)(10 * along + across);
        }
    }
}

static void pattern_as_convolved(void **state) {
    (void)state;
    /* The tetrachoric series is cut after five terms: right to 1e-3 for cosines below 0.7. */
    static const struct {
        double angle, skew, sigma_px, length_px, tolerance;
    } cases[] = {{0, 0, 0.8, 4, 1e-3},
                 {0.4, 0.3, 0.8, 5, 1e-3},
                 {2.1, -0.5, 1.2, 3.5, 1.5e-3},
                 {4.0, 0.65, 0.7, 3, 3e-3}};
    for (size_t k = 0; k < sizeof cases / sizeof *cases; k++) {
        view v = view_of(cases[k].angle, cases[k].skew, cases[k].sigma_px, cases[k].length_px);
        static tr_edge_pixels px;
        static tr_edge_basis basis;
        double q[TR_EDGE_MAX_PIXELS][2];
        put_pixels(&v, &px, q);
        assert_true(px.n >= 40);
        tr_edge_model_basis(&v.model, &px, basis);
        for (int i = 0; i < px.n; i++) {
            double expected = root_curve(convolved(&v, q[i]));
            /* A root steepens what is dark. */
            CHECK_NEAR((double)basis[TR_EDGE_STEP][i], expected, 3 * cases[k].tolerance);
            CHECK_NEAR((double)basis[TR_EDGE_LEVEL][i], 1, 0);
            CHECK_NEAR((double)basis[TR_EDGE_GREY][i], (double)px.grey[i], 0);
        }
    }
}

/* ---- derivatives ---- */

static void change(tr_edge_model *m, tr_edge_pixels *px, int by, float h) {
    for (int i = 0; i < px->n && by == TR_EDGE_PLACE; i++) px->across[i] -= h;
    if (by == TR_EDGE_SIGMA) m->sigma_px += h;
    if (by >= TR_EDGE_TONE && by < TR_EDGE_GREY) m->tone[by - TR_EDGE_TONE] += h;
}

static void derivatives_as_differences(void **state) {
    (void)state;
    const float h = 0.01F;
    view v = view_of(0.7, 0.4, 0.9, 4);
    static tr_edge_pixels px;
    static tr_edge_basis basis;
    static tr_edge_basis side[2];
    double q[TR_EDGE_MAX_PIXELS][2];
    v.model.tone[0] = 0.5F;
    v.model.tone[1] = -0.3F;
    v.model.tone[2] = 0.4F;
    put_pixels(&v, &px, q);
    tr_edge_model_basis(&v.model, &px, basis);
    for (int by = TR_EDGE_PLACE; by < TR_EDGE_GREY; by++) {
        double largest = 0;
        for (int s = 0; s < 2; s++) {
            tr_edge_model m = v.model;
            tr_edge_pixels p = px;
            change(&m, &p, by, s ? h : -h);
            tr_edge_model_basis(&m, &p, side[s]);
        }
        for (int i = 0; i < px.n; i++) {
            double by_h =
                (double)(side[1][TR_EDGE_STEP][i] - side[0][TR_EDGE_STEP][i]) / (2 * (double)h);
            /* The cut series is its own derivative to 2e-3 only. */
            CHECK_NEAR((double)basis[by][i], by_h, 3e-3);
            largest = fmax(largest, fabs(by_h));
        }
        assert_true(largest > 0.05);
    }
}

/* Where half of the light is shown: without coefficients, where the root is half-way. */
static void half_light_of_the_curve(void **state) {
    (void)state;
    const float none[TR_EDGE_N_TONE] = {0};
    double half = tr_edge_half_light(none);
    CHECK_NEAR(root_curve(half), 0, 1e-6);
    const float lighter[TR_EDGE_N_TONE] = {0.5F};
    assert_true(tr_edge_half_light(lighter) < half - 0.05);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(normal_distribution_as_erfc),    cmocka_unit_test(pattern_as_convolved),
        cmocka_unit_test(derivatives_as_differences),     cmocka_unit_test(half_light_of_the_curve),
        cmocka_unit_test(sums_of_products_as_one_by_one),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
