/* What the photos tell together of marks that were not seen: a plate that is far and flat in one
   photo lies near in another. Private to photos. */
#ifndef TR_PHOTOS_PREDICT_H
#define TR_PHOTOS_PREDICT_H

#include "photos/photo_set.h"

/* items[first[i]] .. items[first[i + 1] - 1] are of photo i (as given): every sheet that has a
   place, none where the photo has none. lenses[i]: its lens as it was in that photo. Owned by the
   caller: tr_predictions_release. */
typedef struct {
    tr_sheet_prediction *items;
    int *first;
    tr_lens *lenses;
    tr_pose *camera_from_floor; /* of each photo that has a place; the floor is its plane z = 0 */
} tr_predictions;

static inline bool tr_predictions_has_place(const tr_predictions *p, int photo) {
    return p->first[photo + 1] > p->first[photo];
}

/* From the marks found so far; the photos are sorted. Where they are not connected nothing is
   predicted. False: memory ran out. */
TR_MUST_USE bool tr_photo_set_predict(const tr_photo_set *set, tr_predictions *out, tr_error *err);
void tr_predictions_release(tr_predictions *p);

#endif
