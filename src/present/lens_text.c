#include "present/lens_text.h"

#include <math.h>
#include <string.h>

#include "base/language.h"
#include "base/text.h"
#include "base/wrap.h"
#include "lens/profile.h"
#include "present/catalogue.h"
#include "present/cautions.h"
#include "present/words.h"

static void print_file_name(FILE *out, const char *name, int width) {
    char shown[512], fitted[128];
    tr_text_show(name, strlen(name), shown, sizeof shown);
    tr_text_fit(shown, width, fitted, sizeof fitted);
    fprintf(out, "%s%*s", fitted, width - tr_text_columns(fitted), "");
}

/* "k1  -0.27547 ± 0.00472": as many decimals as give the standard deviation two digits. */
static void print_parameter(FILE *out, const char *name, double value, double sd,
                            const char *unit) {
    if (!(sd > 0)) {
        fprintf(out, "  %-4s %12g (%s)\n", name, value, TR_("held"));
        return;
    }
    int decimals = 1 - (int)floor(log10(sd));
    decimals = decimals < 0 ? 0 : decimals > 9 ? 9 : decimals;
    char number[64], deviation[64];
    snprintf(number, sizeof number, "%.*f", decimals, value);
    snprintf(deviation, sizeof deviation, "%.*f", decimals, sd);
    fprintf(out, "  %-4s %12s ± %s%s\n", name, number, deviation, unit);
}

/* "Example Phone 3, 5.43 mm (as 26 mm on 35 mm film), digital zoom 1", as far as it is told. */
static void print_camera(FILE *out, const tr_camera *camera) {
    const char *comma = "";
    if (*camera->name) {
        fprintf(out, "%s", camera->name);
        comma = ", ";
    }
    if (camera->focal_length_mm > 0) {
        fprintf(out, "%s%.4g mm", comma, camera->focal_length_mm);
        comma = ", ";
    }
    if (camera->equivalent_focal_length_mm > 0) {
        fputs(comma, out);
        fprintf(out, TR_("as %.4g mm on 35 mm film"), camera->equivalent_focal_length_mm);
        comma = ", ";
    }
    if (camera->digital_zoom > 0) {
        fputs(comma, out);
        fprintf(out, TR_("digital zoom %.4g"), camera->digital_zoom);
        comma = ", ";
    }
    fprintf(out, "%s\n", *comma ? "" : TR_("not told by the photos, so checks cannot compare it"));
}

static void print_bow(FILE *out, const double bow_mm[2], const double sd_mm[2]) {
    char bow[2][TR_CELL_SIZE], sd[2][TR_CELL_SIZE];
    for (int k = 0; k < 2; k++) {
        tr_number_rounded(bow_mm[k], 2, false, bow[k]);
        tr_u95_rounded(sd_mm[k], 2, sd[k]);
    }
    const size_t sign = strlen("±");
    char line[256];
    snprintf(line, sizeof line,
             TR_("The checkerboard's middle stands out by %s ± %s mm along and %s ± %s mm across."),
             bow[0], sd[0] + sign, bow[1], sd[1] + sign);
    tr_text_wrap(out, 0, 0, line);
}

/* Kinds of scatter, as people are told them. */
static const struct {
    const char *words, *unit;
} SCATTER[TR_SCATTER_N] = {[TR_SCATTER_SHIFT] = {TR_N("shift of the optical axis"), " px"},
                           [TR_SCATTER_FOCAL] = {TR_N("change of the focal length"), " %"},
                           [TR_SCATTER_TURN] = {TR_N("turn during readout"), "°"},
                           [TR_SCATTER_TRAVEL] = {TR_N("travel during readout"), " mm"}};

/* Two digits: a standard deviation of a few photos is not known better. */
static void print_scatter(FILE *out, const tr_calibration *c) {
    if (c->lens.scatter.is_steady) {
        fprintf(out, "%s\n", TR_("One camera in all photos (--steady)."));
        return;
    }
    fprintf(out, "%s\n", TR_("From photo to photo (one standard deviation):"));
    int width = 26;
    for (int k = 0; k < TR_SCATTER_N; k++) {
        int n = tr_text_columns(tr_translated(SCATTER[k].words));
        width = n > width ? n : width;
    }
    for (int k = 0; k < TR_SCATTER_N; k++) {
        double sd = c->lens.scatter.sd[k] * tr_lens_scatter_unit(k);
        int decimals = sd > 0 ? 1 - (int)floor(log10(sd)) : 0;
        fputs("  ", out);
        tr_text_left(out, tr_translated(SCATTER[k].words), width + 2);
        if (!(c->lens.scatter.dof[k] > 0)) {
            fprintf(out, "%s\n", TR_("these photos do not tell"));
            continue;
        }
        char number[64];
        snprintf(number, sizeof number, "%.*f%s", decimals < 0 ? 0 : decimals, sd, SCATTER[k].unit);
        fprintf(out, c->is_bound[k] ? TR_("less than %s") : "%s", number);
        fputc('\n', out);
    }
}

enum { N_COLUMNS = 5 };
static const char *const COLUMNS[N_COLUMNS] = {TR_N("corners"), TR_N("rms px"), TR_N("largest px"),
                                               TR_N("tilt °"), TR_N("blur px")};

static int column(int k) {
    return tr_text_column(tr_translated(COLUMNS[k]), 0);
}

void tr_lens_photos_text(const tr_lens_run *run, bool is_solved, FILE *out) {
    int width = 8;
    for (int i = 0; i < run->n_photos; i++) {
        int n = tr_text_columns(tr_lens_photo_name(&run->photos[i]));
        width = n > width ? n : width;
    }
    width = width > 28 ? 28 : width;
    fputs("  ", out);
    tr_text_left(out, TR_("photo"), width);
    for (int k = 0; k < N_COLUMNS; k++) tr_text_right(out, tr_translated(COLUMNS[k]), column(k));
    fputc('\n', out);
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        fputs("  ", out);
        print_file_name(out, tr_lens_photo_name(p), width);
        if (!p->is_used) {
            fprintf(out, "  %s\n", TR_("not used:"));
            char why_not[TR_FINDING_TEXT_SIZE], shown[TR_FINDING_TEXT_SIZE];
            tr_reason_text(p->why_not.items, why_not);
            tr_text_show(why_not, strlen(why_not), shown, sizeof shown);
            fputs("      ", out);
            tr_text_wrap(out, 6, 6, shown);
            continue;
        }
        fprintf(out, "%*d", column(0), p->view.n);
        if (is_solved) {
            fprintf(out, "%*.3f%*.3f%*.0f", column(1), p->pose.rms_px, column(2),
                    p->pose.largest_px, column(3), p->tilt_rad * TR_DEG_PER_RAD);
        } else {
            for (int k = 1; k <= 3; k++) tr_text_right(out, "–", column(k));
        }
        fprintf(out, "%*.2f\n", column(4), p->view.blur_px);
    }
}

void tr_lens_unused_text(const tr_lens_run *run, const char *command, FILE *out) {
    char why_not[TR_FINDING_TEXT_SIZE];
    char line[sizeof why_not + 300];
    char shown[sizeof line];
    for (int i = 0; i < run->n_photos; i++) {
        const tr_lens_photo *p = &run->photos[i];
        if (p->is_used || p->why_not.n == 0) continue;
        tr_reason_text(p->why_not.items, why_not);
        char name[250];
        tr_text_fit(p->file, sizeof name, name, sizeof name);
        snprintf(line, sizeof line, TR_("%s: not used: %s"), name, why_not);
        tr_text_show(line, strlen(line), shown, sizeof shown);
        fprintf(out, "trammel %s: %s\n", command, shown);
    }
}

void tr_lens_text(const tr_lens_run *run, const char *file, bool is_replaced, FILE *out) {
    const tr_calibration *c = &run->calibration;
    int n_used = 0;
    for (int i = 0; i < run->n_photos; i++) n_used += run->photos[i].is_used;
    fprintf(out,
            is_replaced ? TR_("Lens %s, written to %s; the older profile there was replaced")
                        : TR_("Lens %s, written to %s"),
            c->lens.id, file);
    fputc('\n', out);
    fprintf(out, TR_("%d x %d px; %d of %d photos used; ± is one standard deviation"),
            c->lens.width_px, c->lens.height_px, n_used, run->n_photos);
    fputc('\n', out);
    fprintf(out, "%s ", TR_("Camera (EXIF):"));
    print_camera(out, &c->lens.camera);
    fputc('\n', out);
    for (int k = 0; k < TR_LENS_N; k++) {
        print_parameter(out, tr_lens_parameter_name(k), c->lens.param[k],
                        sqrt(c->lens.covariance[k * (TR_LENS_N + 1)]), k < TR_K1 ? " px" : "");
    }
    fputc('\n', out);
    fprintf(out, TR_("A corner lies %.3f px (rms) from where this lens puts it."), c->rms_px);
    fputc('\n', out);
    if (c->bow_sd_mm[0] > 0) print_bow(out, c->bow_mm, c->bow_sd_mm);
    print_scatter(out, c);
    fputc('\n', out);
    tr_lens_photos_text(run, true, out);
    fprintf(out, "\n%s\n", TR_("To make it better, or to be sure of it:"));
    for (int i = 0; i < run->advice.n; i++) {
        char text[TR_FINDING_TEXT_SIZE];
        tr_finding_text(&run->advice.items[i], text);
        fputs("  - ", out);
        tr_text_wrap(out, 4, 4, text);
    }
    fputc('\n', out);
    tr_text_wrap(out, 0, 0, tr_cautions_short());
}
