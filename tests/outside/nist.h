/* Regression sets with certified results: NIST Statistical Reference Datasets (StRD), files
   Misra1a.dat, Thurber.dat, MGH09.dat (nonlinear) and Norris.dat (linear); figures as published.
   Origins named there: Misra (1978), Thurber (1979), Kowalik and Osborne (1978), Norris (NIST).
   Per set: data (y, x), both starting values, certified parameters and their standard deviations,
   residual sum of squares, residual standard deviation. */
#ifndef TR_TESTS_OUTSIDE_NIST_H
#define TR_TESTS_OUTSIDE_NIST_H

/* clang-format off */

/* Misra1a.dat: 14 observations, 2 parameters */
static const double misra1a_data[14][2] = {
    {10.07E0, 77.6E0}, {14.73E0, 114.9E0}, {17.94E0, 141.1E0},
    {23.93E0, 190.8E0}, {29.61E0, 239.9E0}, {35.18E0, 289.0E0},
    {40.02E0, 332.8E0}, {44.82E0, 378.4E0}, {50.76E0, 434.8E0},
    {55.05E0, 477.3E0}, {61.01E0, 536.8E0}, {66.40E0, 593.1E0},
    {75.47E0, 689.1E0}, {81.78E0, 760.0E0},
};
static const double misra1a_start1[2] = {500, 0.0001};
static const double misra1a_start2[2] = {250, 0.0005};
static const double misra1a_certified[2] = {2.3894212918E+02, 5.5015643181E-04};
static const double misra1a_sd[2] = {2.7070075241E+00, 7.2668688436E-06};
static const double misra1a_rss = 1.2455138894E-01;
static const double misra1a_residual_sd = 1.0187876330E-01;

/* Thurber.dat: 37 observations, 7 parameters */
static const double thurber_data[37][2] = {
    {80.574E0, -3.067E0}, {84.248E0, -2.981E0}, {87.264E0, -2.921E0},
    {87.195E0, -2.912E0}, {89.076E0, -2.840E0}, {89.608E0, -2.797E0},
    {89.868E0, -2.702E0}, {90.101E0, -2.699E0}, {92.405E0, -2.633E0},
    {95.854E0, -2.481E0}, {100.696E0, -2.363E0}, {101.060E0, -2.322E0},
    {401.672E0, -1.501E0}, {390.724E0, -1.460E0}, {567.534E0, -1.274E0},
    {635.316E0, -1.212E0}, {733.054E0, -1.100E0}, {759.087E0, -1.046E0},
    {894.206E0, -0.915E0}, {990.785E0, -0.714E0}, {1090.109E0, -0.566E0},
    {1080.914E0, -0.545E0}, {1122.643E0, -0.400E0}, {1178.351E0, -0.309E0},
    {1260.531E0, -0.109E0}, {1273.514E0, -0.103E0}, {1288.339E0, 0.010E0},
    {1327.543E0, 0.119E0}, {1353.863E0, 0.377E0}, {1414.509E0, 0.790E0},
    {1425.208E0, 0.963E0}, {1421.384E0, 1.006E0}, {1442.962E0, 1.115E0},
    {1464.350E0, 1.572E0}, {1468.705E0, 1.841E0}, {1447.894E0, 2.047E0},
    {1457.628E0, 2.200E0},
};
static const double thurber_start1[7] = {1000, 1000, 400, 40, 0.7, 0.3, 0.03};
static const double thurber_start2[7] = {1300, 1500, 500, 75, 1, 0.4, 0.05};
static const double thurber_certified[7] = {1.2881396800E+03, 1.4910792535E+03, 5.8323836877E+02, 7.5416644291E+01, 9.6629502864E-01, 3.9797285797E-01, 4.9727297349E-02};
static const double thurber_sd[7] = {4.6647963344E+00, 3.9571156086E+01, 2.8698696102E+01, 5.5675370270E+00, 3.1333340687E-02, 1.4984928198E-02, 6.5842344623E-03};
static const double thurber_rss = 5.6427082397E+03;
static const double thurber_residual_sd = 1.3714600784E+01;

/* MGH09.dat: 11 observations, 4 parameters */
static const double mgh09_data[11][2] = {
    {1.957000E-01, 4.000000E+00}, {1.947000E-01, 2.000000E+00}, {1.735000E-01, 1.000000E+00},
    {1.600000E-01, 5.000000E-01}, {8.440000E-02, 2.500000E-01}, {6.270000E-02, 1.670000E-01},
    {4.560000E-02, 1.250000E-01}, {3.420000E-02, 1.000000E-01}, {3.230000E-02, 8.330000E-02},
    {2.350000E-02, 7.140000E-02}, {2.460000E-02, 6.250000E-02},
};
static const double mgh09_start1[4] = {25, 39, 41.5, 39};
static const double mgh09_start2[4] = {0.25, 0.39, 0.415, 0.39};
static const double mgh09_certified[4] = {1.9280693458E-01, 1.9128232873E-01, 1.2305650693E-01, 1.3606233068E-01};
static const double mgh09_sd[4] = {1.1435312227E-02, 1.9633220911E-01, 8.0842031232E-02, 9.0025542308E-02};
static const double mgh09_rss = 3.0750560385E-04;
static const double mgh09_residual_sd = 6.6279236551E-03;

/* Norris.dat: 36 observations, y = B0 + B1 x */
static const double norris_data[36][2] = {
    {0.1, 0.2}, {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1},
    {228.1, 226.5}, {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6}, {778.9, 777.0},
    {559.2, 558.2}, {0.3, 0.4}, {0.1, 0.6}, {778.1, 775.5}, {668.8, 666.9},
    {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6}, {557.7, 556.0}, {228.3, 228.1},
    {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3}, {0.6, 0.3},
    {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0},
    {10.2, 11.1}, {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9},
    {0.2, 0.5},
};
static const double norris_certified[2] = {-0.262323073774029, 1.00211681802045};
static const double norris_sd[2] = {0.232818234301152, 0.429796848199937E-03};
static const double norris_rss = 26.6173985294224;
static const double norris_residual_sd = 0.884796396144373;
/* clang-format on */

#endif
