#include "check/identity.h"

#include <ctype.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/text.h"
#include "codes/codes.h"
#include "image/photo_file.h"
#include "job/vin.h"

bool tr_identity_vin(const char *text, size_t size, char out[18], bool *like) {
    char cleaned[TR_VIN_PLACES + 2];
    size_t n = 0;
    *out = 0;
    *like = false;
    for (size_t i = 0; i < size; i++) {
        unsigned char c = (unsigned char)text[i];
        if (c == '*' || c == ' ') continue;
        if (!isalnum(c) || c > 126 || n == sizeof cleaned - 1) return false;
        cleaned[n++] = (char)toupper(c);
    }
    cleaned[n] = 0;
    const char *vin = n == TR_VIN_PLACES + 1 && cleaned[0] == 'I' ? cleaned + 1 : cleaned;
    if (strlen(vin) != TR_VIN_PLACES) return false;
    if (tr_vin_check(vin) == TR_VIN_MALFORMED) {
        *like = true;
        memcpy(out, vin, TR_VIN_PLACES + 1);
        return false;
    }
    memcpy(out, vin, TR_VIN_PLACES + 1);
    return true;
}

/* ---- one photo ---- */

typedef struct {
    const tr_job *job;
    tr_identity *out;
    tr_findings *findings;
    tr_error *err;
    char photo[TR_CODE_PHOTO_SIZE]; /* the present one */
} reader;

static bool keep_code(reader *r, const tr_barcode *code) {
    tr_identity *out = r->out;
    tr_code_result *codes = realloc(out->codes, ((size_t)out->n_codes + 1) * sizeof *codes);
    if (!codes) return tr_fail_memory(r->err);
    out->codes = codes;
    tr_code_result *c = &codes[out->n_codes++];
    memset(c, 0, sizeof *c);
    tr_text_show(code->text, code->size, c->text, sizeof c->text);
    memcpy(c->symbology, code->symbology, sizeof c->symbology);
    memcpy(c->photo, r->photo, sizeof c->photo);
    return true;
}

static void take_vin(reader *r, const char *vin, const tr_barcode *code) {
    tr_identity *out = r->out;
    memcpy(out->vehicle, vin, sizeof out->vehicle);
    memcpy(out->symbology, code->symbology, sizeof out->symbology);
    memcpy(out->photo, r->photo, sizeof out->photo);
}

/* The first VIN stands, unless it is a wrong one. */
static bool read_vin(reader *r, const tr_barcode *code) {
    tr_identity *out = r->out;
    const char *stated = r->job->vehicle_id;
    char vin[18];
    bool is_like;
    if (!tr_identity_vin(code->text, code->size, vin, &is_like)) {
        tr_vin_fault fault = tr_vin_find_fault(vin);
        char character[2] = {fault.found, 0};
        return !is_like ||
               tr_note(CODE_IS_NO_VIN, r->findings, r->err, vin, r->photo, character, fault.place);
    }
    if (*stated && strcmp(vin, stated) != 0) {
        out->agrees = false;
        take_vin(r, vin, code);
        return tr_note(VEHICLE_ID_DIFFERS, r->findings, r->err, stated, vin, r->photo);
    }
    if (!*stated && *out->vehicle && strcmp(vin, out->vehicle) != 0) {
        return tr_note(VEHICLE_IDS_DIFFER, r->findings, r->err, out->vehicle, out->photo, vin,
                       r->photo);
    }
    if (!*out->vehicle) take_vin(r, vin, code);
    return true;
}

static void read_label(reader *r, const tr_barcode *code) {
    for (int i = 0; i < r->out->n_sheets; i++) {
        tr_label_result *l = &r->out->sheets[i];
        const tr_sheet *sheet = &r->job->sheets[tr_job_find_sheet(r->job, l->sheet)];
        if (*l->read || code->size != strlen(sheet->label) ||
            memcmp(code->text, sheet->label, code->size) != 0) {
            continue;
        }
        tr_text_show(code->text, code->size, l->read, sizeof l->read);
        memcpy(l->photo, r->photo, sizeof l->photo);
    }
}

static bool read_photo(reader *r, const char *file) {
    tr_photo_file photo;
    tr_codes codes = {0};
    tr_error why = {0};
    tr_text_show(file, strlen(file), r->photo, sizeof r->photo);
    bool ok = tr_photo_file_read(file, &photo, &why);
    if (!ok) {
        tr_image_release(&photo.image);
        if (why.code == TR_NO_MEMORY) return tr_fail_memory(r->err);
        return tr_note(CODE_PHOTO_NOT_READ, r->findings, r->err, r->photo, why.text);
    }
    ok = tr_codes_read(&photo.image, &codes, r->err);
    tr_image_release(&photo.image);
    for (int i = 0; i < codes.n && ok; i++) {
        ok = keep_code(r, &codes.items[i]) && read_vin(r, &codes.items[i]);
        read_label(r, &codes.items[i]);
    }
    if (ok && codes.n == 0) ok = tr_note(CODE_NOT_FOUND, r->findings, r->err, r->photo);
    tr_codes_release(&codes);
    return ok;
}

/* ---- all of them ---- */

static bool list_labels(const tr_job *job, tr_identity *out, tr_error *err) {
    out->sheets = calloc((size_t)job->n_sheets + 1, sizeof *out->sheets);
    if (!out->sheets) return tr_fail_memory(err);
    for (int i = 0; i < job->n_sheets; i++) {
        if (!*job->sheets[i].label) continue;
        tr_label_result *l = &out->sheets[out->n_sheets++];
        snprintf(l->sheet, sizeof l->sheet, "%s", job->sheets[i].id);
    }
    return true;
}

static bool note_labels(const reader *r) {
    for (int i = 0; i < r->out->n_sheets; i++) {
        const tr_label_result *l = &r->out->sheets[i];
        bool is_needed = tr_job_needs_sheet(r->job, tr_job_find_sheet(r->job, l->sheet));
        bool ok = true;
        if (*l->read && !is_needed) {
            ok = tr_note(LABEL_OF_UNUSED_SHEET, r->findings, r->err, l->sheet, l->read, l->photo);
        } else if (!*l->read && is_needed) {
            ok = tr_note(LABEL_NOT_READ, r->findings, r->err, l->sheet);
        }
        if (!ok) return false;
    }
    return true;
}

bool tr_identity_read(const tr_job *job, tr_identity *out, tr_findings *findings, tr_error *err) {
    reader r = {.job = job, .out = out, .findings = findings, .err = err};
    *out = (tr_identity){.is_asked = job->n_codes > 0, .has_stated = *job->vehicle_id};
    if (!out->is_asked) return true;
    out->agrees = true;
    if (!list_labels(job, out, err)) return false;
    for (int i = 0; i < job->n_codes; i++) {
        if (!read_photo(&r, job->codes[i])) return false;
    }
    out->agrees = out->agrees && *out->vehicle && out->has_stated;
    return note_labels(&r);
}

void tr_identity_release(tr_identity *identity) {
    free(identity->sheets);
    free(identity->codes);
    *identity = (tr_identity){0};
}
