/* Propagation of uncertainty: how the covariance of the inputs becomes that of the results. */
#ifndef TR_VERDICT_PROPAGATE_H
#define TR_VERDICT_PROPAGATE_H

/* out = J C J'. J: m x n by rows, d(result)/d(input); C: n x n by rows, symmetric, the inputs'
   covariance; out: m x m by rows, symmetric to the last bit; it must not overlap J or C.
   Source: JCGM 102:2011 (GUM Supplement 2), 6.2.1.3; for one result JCGM 100:2008, eq. 13. First
   order: no help where a result hardly depends on its inputs at the first order, as at the top of
   a curve. */
void tr_propagate(const double *J, int m, const double *C, int n, double *out);

#endif
