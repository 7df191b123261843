#include "verdict/propagate.h"

void tr_propagate(const double *J, int m, const double *C, int n, double *out) {
    for (int i = 0; i < m; i++) {
        for (int j = i; j < m; j++) {
            double sum = 0;
            for (int k = 0; k < n; k++) {
                if (J[i * n + k] == 0.0) continue; /* most are, where there are many inputs */
                double row = 0;
                for (int l = 0; l < n; l++) row += C[k * n + l] * J[j * n + l];
                sum += J[i * n + k] * row;
            }
            out[i * m + j] = out[j * m + i] = sum;
        }
    }
}
