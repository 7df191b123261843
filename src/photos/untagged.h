/* Where a sheet without tags lies: found by its own artwork (checker corners, discs), from a rough
   place, in photos whose places are known.

   1. Every place within the stated reach (along the sheet's plane, and turned in it) is tried on a
      grid so fine that no place falls between; its score is how well the grey values about where
      its marks would be seen are those of such marks, summed over marks and photos.
   2. The best places that lie a good part of the artwork's smallest spacing apart are hypotheses.
      Where artwork is regular, each may be the true place shifted by a period, so the shifts by
      which the artwork lies over at least half of itself are hypotheses, too, even those beyond
      the stated reach.
   3. For each, all marks are measured, the pose is solved from all photos together, what was missed
      is measured from there, and the matches are counted: a mark matches where it lies within 4 of
   its standard deviations (with MATCH_SD_PX for photos and paper) of where the pose has it.
   4. The one with the most matches is taken, if no other comes near. Of a regular artwork that is
      seen whole, the true place explains all marks that there are; shifted by a period, it leaves
      a row at the border unexplained, where it has plain paper. Marks that are seen and explained
      decide, not marks that are missing: those may be covered. Where the borders are not seen, two
      places explain the same marks, and neither is taken. Chi-squared tells what is no such sheet
      at all. */
#ifndef TR_PHOTOS_UNTAGGED_H
#define TR_PHOTOS_UNTAGGED_H

#include "base/error.h"
#include "geom/geom.h"
#include "image/image.h"
#include "lens/lens.h"
#include "sheet/sheet.h"

/* A photo that has a place. */
typedef struct {
    const tr_image *image;
    const tr_lens *lens; /* as it was in that photo */
    tr_pose camera_from_world;
} tr_placed_photo;

/* All borrowed. */
typedef struct {
    const tr_sheet *sheet;
    tr_pose world_from_sheet; /* roughly */
    double within_mm;         /* along x and y of the sheet */
    double within_rad;        /* about its z */
    const tr_placed_photo *photos;
    int n_photos;
} tr_untagged_request;

typedef enum {
    TR_UNTAGGED_FOUND,
    TR_UNTAGGED_OUT_OF_VIEW, /* no photo shows enough of where it could lie */
    TR_UNTAGGED_NOT_SEEN,    /* nowhere there are enough of its marks */
    TR_UNTAGGED_AMBIGUOUS,   /* another place explains the photos about as well */
    TR_UNTAGGED_BEYOND       /* its place lies beyond the stated reach */
} tr_untagged_outcome;

typedef struct {
    tr_untagged_outcome outcome;
    tr_pose world_from_sheet; /* of the best hypothesis, where any marks match */
    int n_matched;            /* marks of single photos */
    int n_missing;            /* that should have been seen, but do not match */
    int n_rival;              /* most matches of another place */
    double chi2;              /* of the matches, over their degrees of freedom */
} tr_untagged_place;

/* False: memory ran out. */
TR_MUST_USE bool tr_untagged_find(const tr_untagged_request *request, tr_untagged_place *out,
                                  tr_error *err);

#endif
