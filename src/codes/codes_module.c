/* ZBar behind one function. */
#include "codes/module.h"

#include <zbar.h>

#include "base/module.h"

TR_MODULE_EXPORT tr_codes_scan tr_codes_module_scan;

/* The symbologies that labels and vehicles bear. ZBar knows others, of which short ones are read
   into any pattern of stripes. */
static const struct {
    zbar_symbol_type_t type;
    const char *name;
} SYMBOLOGIES[] = {{ZBAR_CODE39, "code-39"}, {ZBAR_CODE128, "code-128"}, {ZBAR_QRCODE, "qr-code"}};
enum { N_SYMBOLOGIES = sizeof SYMBOLOGIES / sizeof *SYMBOLOGIES };

static const char *name_of(zbar_symbol_type_t type) {
    for (int i = 0; i < N_SYMBOLOGIES; i++) {
        if (SYMBOLOGIES[i].type == type) return SYMBOLOGIES[i].name;
    }
    return "other";
}

bool tr_codes_module_scan(const uint8_t *px, int width, int height, tr_codes_found *found,
                          void *context) {
    zbar_image_scanner_t *scanner = zbar_image_scanner_create();
    zbar_image_t *image = zbar_image_create();
    bool ok = scanner && image;
    if (ok) {
        zbar_set_verbosity(0);
        zbar_image_scanner_set_config(scanner, ZBAR_NONE, ZBAR_CFG_ENABLE, 0);
        for (int i = 0; i < N_SYMBOLOGIES; i++) {
            zbar_image_scanner_set_config(scanner, SYMBOLOGIES[i].type, ZBAR_CFG_ENABLE, 1);
        }
        zbar_image_set_format(image, zbar_fourcc('Y', '8', '0', '0'));
        zbar_image_set_size(image, (unsigned)width, (unsigned)height);
        /* Without a handler ZBar takes the pixels for borrowed, and leaves them as they are. */
        zbar_image_set_data(image, px, (unsigned long)width * (unsigned long)height, NULL);
        ok = zbar_scan_image(scanner, image) >= 0;
    }
    const zbar_symbol_t *symbol = ok ? zbar_image_first_symbol(image) : NULL;
    for (; symbol && ok; symbol = zbar_symbol_next(symbol)) {
        ok = found(context, name_of(zbar_symbol_get_type(symbol)), zbar_symbol_get_data(symbol),
                   zbar_symbol_get_data_length(symbol));
    }
    if (image) zbar_image_destroy(image);
    if (scanner) zbar_image_scanner_destroy(scanner);
    return ok;
}
