/* Writing YAML that base/yaml.h reads back. */
#ifndef TR_BASE_YAML_WRITE_H
#define TR_BASE_YAML_WRITE_H

#include <stdio.h>

/* Between double quotes, so that no name can be taken for a number, a date or a boolean. text: one
   line of UTF-8 (tr_text_is_line). */
void tr_yaml_put_text(FILE *to, const char *text);

#endif
