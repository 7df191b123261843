#include "report/figure.h"

#include <stdlib.h>

#include "base/array.h"
#include "present/area_page.h"
#include "present/overlay.h"
#include "present/plan.h"

bool tr_figure_has_photo(const tr_doc_figure *figure) {
    return figure->kind == TR_FIGURE_PHOTO || figure->kind == TR_FIGURE_AREA;
}

static const double WORDS_PX = 18; /* in drawings that explain themselves: small text on paper */

static bool draw(tr_canvas *canvas, tr_box box, const tr_check_result *result,
                 const tr_photo_set *photos, const tr_doc_figure *f, tr_error *err) {
    switch (f->kind) {
    case TR_FIGURE_PHOTO:
        return tr_overlay_draw(canvas, box, result, photos, f->target, f->photo, err);
    case TR_FIGURE_AREA: return tr_area_photo_draw(canvas, box, result, photos, f->photo, err);
    case TR_FIGURE_DETAIL: tr_plan_draw_detail(canvas, box, result, f->target, WORDS_PX); break;
    case TR_FIGURE_PLAN: tr_plan_draw(canvas, box, result, f->target); break;
    case TR_FIGURE_ALL: tr_plan_draw_all(canvas, box, result); break;
    }
    return true;
}

/* The one photo in the place in which what draws it looks for a photo in memory. */
static bool draw_with_photo(tr_canvas *canvas, tr_box box, const tr_report *report,
                            const tr_doc_figure *figure, tr_error *err) {
    tr_photo_set set = {.n_photos = report->result->n_photos};
    tr_error why = {0};
    set.photos = tr_array(set.n_photos, sizeof *set.photos);
    if (!set.photos) return tr_fail_memory(err);
    tr_image *image = &set.photos[figure->photo].image;
    bool ok = report->read_photo(&report->result->photos[figure->photo], image, report->user, &why);
    if (!ok && why.code == TR_NO_MEMORY) {
        tr_fail_memory(err);
    } else {
        ok = draw(canvas, box, report->result, ok ? &set : NULL, figure, err);
    }
    tr_image_release(image);
    free(set.photos);
    return ok;
}

bool tr_figure_draw(tr_canvas *canvas, tr_box box, const tr_report *report,
                    const tr_doc_figure *figure, tr_error *err) {
    bool is_given = report->read_photo && tr_figure_has_photo(figure) && figure->photo >= 0;
    canvas->unit = report->unit;
    return is_given ? draw_with_photo(canvas, box, report, figure, err)
                    : draw(canvas, box, report->result, NULL, figure, err);
}
