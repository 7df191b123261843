/* Propagation of uncertainty against the worked examples of the GUM (JCGM 100:2008, annex H). The
   published figures are rounded; each is asked for to half a unit of its last digit. */
#include "check.h"

#include "geom/dense.h"

/* H.1, calibration of an end gauge (figures as in the documentation of MSLNZ/GTC, "GUM H1"):
     l = lS + d - lS (da theta + aS dt)
   Inputs: lS mm, d = 215 nm from three parts, da 1/C, theta C, aS 1/C, dt C. */
enum { LS, D_MEAN, D_RANDOM, D_SYSTEMATIC, DA, THETA, AS, DT, H1_N };

static void h1_inputs(double J[H1_N], double u[H1_N], double nu[H1_N]) {
    const double ls_mm = 50.000623, da = 0, theta = -0.1, as = 11.5e-6, dt = 0;
    const double nm = 1e-6; /* in mm */
    const double rectangular = 1 / sqrt(3.0);
    J[LS] = 1 - (da * theta + as * dt);
    J[D_MEAN] = J[D_RANDOM] = J[D_SYSTEMATIC] = 1;
    J[DA] = -ls_mm * theta;
    J[THETA] = -ls_mm * da;
    J[AS] = -ls_mm * dt;
    J[DT] = -ls_mm * as;
    u[LS] = 25 * nm;
    u[D_MEAN] = 5.8 * nm;
    u[D_RANDOM] = 3.9 * nm;
    u[D_SYSTEMATIC] = 6.7 * nm;
    u[DA] = 1e-6 * rectangular;
    u[THETA] = 0.41; /* any value will do: its sensitivity is 0 */
    u[AS] = 2e-6 * rectangular;
    u[DT] = 0.05 * rectangular;
    nu[LS] = 18;
    nu[D_MEAN] = 24;
    nu[D_RANDOM] = 5;
    nu[D_SYSTEMATIC] = 8;
    nu[DA] = 50;
    nu[THETA] = INFINITY;
    nu[AS] = INFINITY;
    nu[DT] = 2;
}

static void end_gauge(void **unused) {
    (void)unused;
    double J[H1_N], u[H1_N], nu[H1_N];
    double C[H1_N * H1_N] = {0};
    double variance;
    h1_inputs(J, u, nu);
    for (int i = 0; i < H1_N; i++) C[i * H1_N + i] = u[i] * u[i];
    variance = tr_dense_quadratic(J, C, H1_N);
    double uc_nm = sqrt(variance) * 1e6;
    CHECK_NEAR(uc_nm, 32, 0.5);      /* published */
    CHECK_NEAR(uc_nm, 31.66, 0.005); /* unrounded */
    /* Contributions: 25; 9.7 together; 2.9; 16.6 nm. */
    CHECK_NEAR(fabs(J[LS]) * u[LS] * 1e6, 25, 1e-9);
    CHECK_NEAR(hypot(hypot(u[D_MEAN], u[D_RANDOM]), u[D_SYSTEMATIC]) * 1e6, 9.7, 0.05);
    CHECK_NEAR(fabs(J[DA]) * u[DA] * 1e6, 2.9, 0.05);
    CHECK_NEAR(fabs(J[DT]) * u[DT] * 1e6, 16.6, 0.05);
    /* Effective degrees of freedom (Welch-Satterthwaite, GUM G.4.1): 16.7, truncated 16. */
    double sum = 0;
    for (int i = 0; i < H1_N; i++) sum += pow(J[i] * u[i], 4) / nu[i];
    CHECK_NEAR(variance * variance / sum, 16.75, 0.05);
    /* k = 2.92 at 99 %: 93 nm (the GUM rounds u to 32 first). */
    CHECK_NEAR(2.92 * uc_nm, 93, 1);
}

/* H.2, simultaneous measurement of resistance and reactance: five sets of readings. */
enum { H2_SETS = 5 };
static const double h2_volt[H2_SETS] = {5.007, 4.994, 5.005, 4.990, 4.999};
static const double h2_milliamp[H2_SETS] = {19.663, 19.639, 19.640, 19.685, 19.678};
static const double h2_phase_rad[H2_SETS] = {1.0456, 1.0438, 1.0468, 1.0428, 1.0433};

static void h2_statistics(double mean[3], double C[9]) {
    const double *reading[3] = {h2_volt, h2_milliamp, h2_phase_rad};
    for (int i = 0; i < 3; i++) {
        mean[i] = 0;
        for (int k = 0; k < H2_SETS; k++) mean[i] += reading[i][k] / H2_SETS;
    }
    for (int i = 0; i < 3; i++) {
        for (int j = 0; j < 3; j++) {
            double sum = 0;
            for (int k = 0; k < H2_SETS; k++) {
                sum += (reading[i][k] - mean[i]) * (reading[j][k] - mean[j]);
            }
            C[3 * i + j] = sum / (H2_SETS * (H2_SETS - 1));
        }
    }
}

/* d(R, X, Z)/d(V, I, phase) for R = V cos(phase)/I, X = V sin(phase)/I, Z = V/I; I in mA. */
static void h2_jacobian(const double mean[3], double value[3], double J[9]) {
    const double V = mean[0], I = mean[1] / 1000, c = cos(mean[2]), s = sin(mean[2]);
    const double rows[9] = {c / I, -V * c / (I * I) / 1000, -V * s / I,
                            s / I, -V * s / (I * I) / 1000, V * c / I,
                            1 / I, -V / (I * I) / 1000,     0};
    for (int i = 0; i < 9; i++) J[i] = rows[i];
    value[0] = V * c / I;
    value[1] = V * s / I;
    value[2] = V / I;
}

static double correlation(const double C[9], int i, int j) {
    return C[3 * i + j] / sqrt(C[4 * i] * C[4 * j]);
}

/* out = J C J'; J: m x n. */
static void propagate(const double *J, int m, const double *C, int n, double *out) {
    double row[3];
    memset(out, 0, (size_t)(m * m) * sizeof *out);
    tr_dense_add_propagated(J, m, n, C, n, row, out);
}

static void resistance_and_reactance(void **unused) {
    (void)unused;
    double mean[3], C[9], value[3], J[9], out[9];
    h2_statistics(mean, C);
    CHECK_NEAR(mean[0], 4.9990, 0.00005);
    CHECK_NEAR(mean[1], 19.6610, 0.00005);
    CHECK_NEAR(mean[2], 1.04446, 0.000005);
    CHECK_NEAR(sqrt(C[0]), 0.0032, 0.00005);
    CHECK_NEAR(sqrt(C[4]), 0.0095, 0.00005);
    CHECK_NEAR(sqrt(C[8]), 0.00075, 0.000005);
    CHECK_NEAR(correlation(C, 0, 1), -0.36, 0.005);
    CHECK_NEAR(correlation(C, 0, 2), 0.86, 0.005);
    CHECK_NEAR(correlation(C, 1, 2), -0.65, 0.005);
    h2_jacobian(mean, value, J);
    propagate(J, 3, C, 3, out);
    CHECK_NEAR(value[0], 127.732, 0.0005);
    CHECK_NEAR(value[1], 219.847, 0.0005);
    CHECK_NEAR(value[2], 254.260, 0.0005);
    CHECK_NEAR(sqrt(out[0]), 0.071, 0.0005);
    CHECK_NEAR(sqrt(out[4]), 0.2956, 0.00005); /* unrounded; printed as 0.295 */
    CHECK_NEAR(sqrt(out[8]), 0.236, 0.0005);
    CHECK_NEAR(correlation(out, 0, 1), -0.588, 0.0005);
    CHECK_NEAR(correlation(out, 0, 2), -0.485, 0.0005);
    CHECK_NEAR(correlation(out, 1, 2), 0.9925, 0.00005);
}

/* What goes wrong when the inputs' correlations are dropped: u(R) 0.195, u(X) 0.201 (published). */
static void correlations_matter(void **unused) {
    (void)unused;
    double mean[3], C[9], value[3], J[9], out[9];
    h2_statistics(mean, C);
    h2_jacobian(mean, value, J);
    C[1] = C[2] = C[3] = C[5] = C[6] = C[7] = 0;
    propagate(J, 3, C, 3, out);
    CHECK_NEAR(sqrt(out[0]), 0.195, 0.0005);
    CHECK_NEAR(sqrt(out[4]), 0.201, 0.0005);
}

int main(void) {
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(end_gauge),
        cmocka_unit_test(resistance_and_reactance),
        cmocka_unit_test(correlations_matter),
    };
    return cmocka_run_group_tests_name("gum", tests, NULL, NULL);
}
