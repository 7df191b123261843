/* trammel shop: a new shop's folder. */
#include "cli/commands.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/language.h"
#include "base/wrap.h"
#include "cli/options.h"
#include "cli/output.h"
#include "help/pages.h"
#include "shop/make.h"
#include "shop/shop.h"

typedef struct {
    const char *folder, *kit;
    tr_new_shop shop;
    bool is_help;
} request;

static bool check_word(const char *option, const char *value, const char *const *words, int n,
                       tr_error *err) {
    char known[64] = "";
    for (int i = 0; i < n; i++) {
        size_t used = strlen(known);
        if (!value || strcmp(value, words[i]) == 0) return true;
        snprintf(known + used, sizeof known - used, "%s%s", i > 0 ? ", " : "", words[i]);
    }
    return tr_fail(err, TR_BAD_INPUT, "'%s %.40s' is not one of: %s", option, value, known);
}

static bool parse(int argc, char **argv, request *r, tr_error *err) {
    static const char *const UNITS[] = {"mm", "inch"};
    static const char *const LANGUAGES[] = {"en", "de", "es"};
    static const char *const PAPERS[] = {"A4", "Letter"};
    tr_new_shop *s = &r->shop;
    const tr_option options[] = {{"--name", &s->name, NULL},
                                 {"--units", &s->units, NULL},
                                 {"--language", &s->language, NULL},
                                 {"--paper", &s->paper, NULL},
                                 {"--kit", &r->kit, NULL}};
    int n;
    if (!tr_options_parse(&tr_help_shop_command, argc, argv, options,
                          sizeof options / sizeof *options, &n, &r->is_help, err)) {
        return false;
    }
    if (r->is_help) return true;
    if (n < 1) return tr_fail(err, TR_BAD_INPUT, "no folder is named");
    if (n > 1) {
        return tr_fail(err, TR_BAD_INPUT, "'%.80s' is one word too many; name one folder", argv[2]);
    }
    r->folder = argv[1];
    return check_word("--units", s->units, UNITS, 2, err) &&
           check_word("--language", s->language, LANGUAGES, 3, err) &&
           check_word("--paper", s->paper, PAPERS, 2, err);
}

/* The name of the folder, where the shop is given none. */
static bool make(request *r, tr_error *err) {
    char *kit = r->kit ? strdup(r->kit) : tr_shop_find_kit(err);
    if (!kit) return tr_fail_memory(err);
    bool ok = tr_shop_make(r->folder, kit, &r->shop, err);
    free(kit);
    return ok;
}

static void put_step(int number, const char *text) {
    printf("  %d. ", number);
    tr_text_wrap(stdout, 5, 5, text);
}

static void print_shop(const request *r) {
    fputs(TR_("The shop is made, in "), stdout);
    tr_options_print_word(r->folder);
    fputs("\n\n", stdout);
    puts(TR_("What to do next, in that folder:"));
    put_step(1, TR_("Look through trammel.yaml: it says what holds for all jobs."));
    put_step(2, TR_("Print what is in prints, at 100 %, and measure the printed rules. The mat is "
                    "there on one large page, and in tiles for A3 and A4."));
    if (r->shop.paper && strcmp(r->shop.paper, "Letter") == 0) {
        fputs("     ", stdout);
        tr_text_wrap(stdout, 5, 5,
                     TR_("In tiles for Letter, each of them: trammel print mat-s --page Letter "
                         "--out prints/mat-s-letter.pdf"));
    }
    put_step(3, TR_("Calibrate the camera, from 10 to 15 photos of the checkerboard: trammel lens "
                    "PHOTO... --squares 10x7 --pitch 25 --out lenses/my-phone.yaml"));
    put_step(4, TR_("Make a job: trammel job --layout try-out --vin VIN. For a first "
                    "try without a calibration, add --lens unknown"));
    put_step(5, TR_("Put its photos into photos/J-0001, and check: trammel check J-0001"));
}

int tr_cmd_shop(int argc, char **argv) {
    request r = {0};
    tr_error err = {0};
    tr_shop_prefer_language();
    if (!parse(argc, argv, &r, &err)) return tr_options_refuse(&tr_help_shop_command, &err);
    if (r.is_help) return tr_options_help(&tr_help_shop_command);
    bool ok = make(&r, &err);
    if (ok) {
        print_shop(&r);
        ok = tr_output_end(&err);
    }
    if (ok) return TR_EXIT_PASS;
    tr_options_print_error("shop", &err);
    return TR_EXIT_NO_MEASURE;
}
