#include "base/language.h"

#include <libintl.h>

const char *tr_translated(const char *english) {
    /* Of "" gettext gives the catalogue's own head. */
    return *english ? dgettext("trammel", english) : english;
}
