/* How a camera changes from photo to photo, and how true a printed board is, estimated from the
   photos of a calibration themselves: every photo has a camera of its own and every corner of the
   board a place of its own (network/photo.h, offset.h), each unknown drawn to 0 by a prior, and the
   priors' standard deviations are variance components, found together with that of the measured
   corners.

   A group of unknowns v with one standard deviation s has the redundancy r = n - tr(C) / s^2, C
   being their covariance in the solution; the estimate is  s^2 = v'v / r,  solved anew until it
   stays (Foerstner, Ein Verfahren zur Schaetzung von Varianz- und Kovarianzkomponenten, Allgemeine
   Vermessungs-Nachrichten 86, 1979; where it settles it is the restricted maximum likelihood:
   Harville, Maximum likelihood approaches to variance component estimation, JASA 72, 1977). How
   well the components are told, one beside the other, is Fisher's information of ln s_k^2,
     F_kl = 1/2 sum of R_ij^2 over i of group k, j of group l    R = I - S^-1 C S^-1
   and a component has 2 / (F^-1)_kk degrees of freedom. Private to calib. */
#ifndef TR_CALIB_COMPONENTS_H
#define TR_CALIB_COMPONENTS_H

#include "network/network.h"

/* The camera's kinds of scatter (lens.h), and the board's: a corner's place along the board, and
   out of it. */
enum { TR_COMPONENT_PRINT = TR_SCATTER_N, TR_COMPONENT_HEIGHT, TR_COMPONENT_N };

typedef struct {
    double sd;    /* of the prior; 0: there is no such component */
    double wide;  /* which it starts from, and keeps where the photos do not tell it */
    double most;  /* it is not taken for more; 0: no limit */
    double least; /* nor for less */
    double dof;   /* degrees of freedom of sd; 0: the photos do not tell it, and sd is wide */
    /* There may be none: sd is the least of which these photos could give two degrees of freedom,
       about what a scatter of 0 stays below with 95 % confidence. */
    bool is_bound;
} tr_component;

typedef struct {
    tr_component of[TR_COMPONENT_N];
    double redundancy; /* of the corners' coordinates */
    double scale;      /* the corners' standard deviations, in those that the caller gave */
} tr_components;

/* Which component an unknown of a photo belongs to. */
int tr_component_of_photo(int unknown);

/* Solves the network with Huber's loss and the components that have a width, from it. The corners'
   standard deviations are known only relative to each other: those of the observations are scaled
   by what the residuals say. The network's photos and offsets have no free unknowns when it is
   called. covariance: of n unknowns in the last solution, as tr_net_solution_covariance. Errors as
   tr_network_solve. */
TR_MUST_USE bool tr_components_solve(tr_network *net, const tr_net_options *options,
                                     const tr_net_unknown *unknowns, int n, double *covariance,
                                     tr_components *c, tr_lsq_result *result, tr_error *err);

#endif
