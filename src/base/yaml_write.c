#include "base/yaml_write.h"

void tr_yaml_put_text(FILE *to, const char *text) {
    fputc('"', to);
    for (; *text; text++) {
        if (*text == '"' || *text == '\\') fputc('\\', to);
        fputc(*text, to);
    }
    fputc('"', to);
}
