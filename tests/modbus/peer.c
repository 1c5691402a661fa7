/* Three units with every data type in every order as a libmodbus server: over Modbus TCP, RTU over TCP, or RTU on a
 * serial line.
 *
 * Arguments: "tcp", "rtu-over-tcp" (both on 127.0.0.1 and a port the system picks), or "serial" and the line's path.
 * stdout, one JSON object a line: first the port and every value with its place; at the end who was asked for which
 * function. The end of stdin ends the program.
 *
 * libmodbus makes the words: MODBUS_SET_INT32_TO_INT16 and MODBUS_SET_INT64_TO_INT16 (high word first), and
 * modbus_set_float_*. It has nothing for integers, doubles and BCD in the three other orders: there the words that it
 * made are turned round here, their bytes with bswap_16 of the C library.
 */

#include <byteswap.h>
#include <errno.h>
#include <float.h>
#include <inttypes.h>
#include <math.h>
#include <modbus/modbus.h>
#include <netinet/in.h>
#include <poll.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <unistd.h>

enum { UNITS = 3, ENTRIES_MOST = 512, ASKED_MOST = 65536 };
enum { FIRST_COIL = 0x25, COILS = 37, FIRST_INPUT_BIT = 0xFE00, INPUT_BITS = 41, FIRST_HOLDING = 0x0102 };

static const uint8_t UNIT[UNITS] = {1, 17, 247}; /* 247 is the highest (Modbus over Serial Line V1.02, 2.2) */

static void die(const char *what) {
    fprintf(stderr, "peer.c: %s: %s\n", what, modbus_strerror(errno));
    exit(1);
}

/* --- What is served --- */

struct entry {
    const char *data;
    char order[5];
    int bit; /* -1: none */
    int words; /* 0: the words of the entry before, another bit of them */
    uint16_t word[4];
    char shown[32]; /* what a reader must make of it, in JSON; null: no number */
};

static struct entry entries[ENTRIES_MOST];
static int entry_count;

static struct entry *add(const char *data, const char *order, int bit, int words) {
    if (entry_count == ENTRIES_MOST) die("more entries than there is room for");
    struct entry *e = &entries[entry_count++];
    e->data = data;
    snprintf(e->order, sizeof e->order, "%s", order);
    e->bit = bit;
    e->words = words;
    return e;
}

static void show_number(struct entry *e, double number) {
    if (isfinite(number)) snprintf(e->shown, sizeof e->shown, "%.17g", number);
    else snprintf(e->shown, sizeof e->shown, "null");
}

/* The low words of `bits`, in one of the four orders. */
static void put(uint16_t *word, int words, const char *order, uint64_t bits) {
    uint16_t abcd[4];
    if (words == 4) MODBUS_SET_INT64_TO_INT16(abcd, 0, bits);
    else if (words == 2) MODBUS_SET_INT32_TO_INT16(abcd, 0, bits);
    else abcd[0] = (uint16_t)bits;
    int last_first = order[0] == 'C' || order[0] == 'D';
    int low_byte_first = order[0] == 'B' || order[0] == 'D';
    for (int i = 0; i < words; i++) {
        uint16_t w = abcd[last_first ? words - 1 - i : i];
        word[i] = low_byte_first ? bswap_16(w) : w;
    }
}

static void add_number(const char *data, const char *order, int words, uint64_t bits, double number) {
    struct entry *e = add(data, order, -1, words);
    put(e->word, words, order, bits);
    show_number(e, number);
}

static void add_integers(const char *order) {
    static const uint16_t u16[] = {0, 1, 0x1234, 0x8000, UINT16_MAX};
    static const int16_t i16[] = {-1, -2, 0x1234, -0x1234, INT16_MIN, INT16_MAX};
    static const uint32_t u32[] = {1, 0x12345678, 0x00010000, 0x80000000, UINT32_MAX};
    static const int32_t i32[] = {-1, 0x12345678, -0x12345678, INT32_MIN, INT32_MAX};
    static const uint64_t u64[] = {1, 0x0012345678ABCDEF, 1ULL << 53, (1ULL << 53) + 1, 0xFEDCBA9876543210, UINT64_MAX};
    static const int64_t i64[] = {-1, 0x0012345678ABCDEF, -0x0012345678ABCDEF, -(1LL << 53), INT64_MIN, INT64_MAX};
#define ADD_ALL(data, words, numbers)                            \
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) \
        add_number(data, order, words, (uint64_t)numbers[i], (double)numbers[i])
    ADD_ALL("U16", 1, u16);
    ADD_ALL("I16", 1, i16);
    ADD_ALL("U32", 2, u32);
    ADD_ALL("I32", 2, i32);
    ADD_ALL("U64", 4, u64);
    ADD_ALL("I64", 4, i64);
}

/* What the names modbus_set_float_abcd and so on mean differs between its releases (its issues 358 and 665): Debian's
 * 3.1.6 sends BADC by "abcd". So the order is spelled by a probe: a float of the bytes A B C D, most significant first,
 * as it goes out, each register high byte first (Modbus Application Protocol V1.1b3, 4.2). */
static void add_singles(void (*set)(float, uint16_t *)) {
    static const float numbers[] = {1.5F, -20123.625F, 0.1F, FLT_MAX, FLT_MIN, FLT_TRUE_MIN, INFINITY, -INFINITY, NAN};
    uint32_t letters = 0x41424344;
    float probe;
    uint16_t word[2];
    memcpy(&probe, &letters, sizeof probe);
    set(probe, word);
    const char order[5] = {word[0] >> 8, word[0] & 0xFF, word[1] >> 8, word[1] & 0xFF, 0};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        struct entry *e = add("F32", order, -1, 2);
        set(numbers[i], e->word);
        show_number(e, numbers[i]);
    }
}

static void add_doubles(const char *order) {
    static const double numbers[] = {1.5, -20123.625, 0.1, DBL_MAX, DBL_MIN, DBL_TRUE_MIN, INFINITY, -INFINITY, NAN};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        uint64_t bits;
        memcpy(&bits, &numbers[i], sizeof bits);
        add_number("F64", order, 4, bits, numbers[i]);
    }
}

/* A digit in each half byte, the last digit in the lowest. */
static uint64_t bcd(uint64_t number) {
    uint64_t bits = 0;
    for (int shift = 0; number > 0; shift += 4, number /= 10) bits |= number % 10 << shift;
    return bits;
}

static void add_bcd(const char *order) {
    static const uint64_t numbers[] = {0, 1, 1234, 8060, 9999, 12345678, 80604020, 99999999,
                                       1234567890123456, 9007199254740993, 9999999999999999};
    for (size_t i = 0; i < sizeof numbers / sizeof *numbers; i++) {
        uint64_t n = numbers[i];
        if (n <= 9999) add_number("Bcd16", order, 1, bcd(n), (double)n);
        if (n <= 99999999) add_number("Bcd32", order, 2, bcd(n), (double)n);
        add_number("Bcd64", order, 4, bcd(n), (double)n);
    }
    add_number("Bcd16", order, 1, 0x12A4, NAN);
    add_number("Bcd32", order, 2, 0x1234F678, NAN);
    add_number("Bcd64", order, 4, 0xB234567890123456, NAN);
}

/* Yes/no: of the register as it comes, whatever the order of numbers. */
static void add_flags(const char *order) {
    static const uint16_t whole[] = {0, 1, 0x0100, 0x8000, UINT16_MAX};
    for (size_t i = 0; i < sizeof whole / sizeof *whole; i++) {
        struct entry *e = add("Bool", order, -1, 1);
        e->word[0] = whole[i];
        snprintf(e->shown, sizeof e->shown, whole[i] ? "true" : "false");
    }
    for (int bit = 0; bit < 16; bit++) {
        uint16_t flags = 0xA5C3;
        struct entry *e = add("Bool", order, bit, bit == 0);
        e->word[0] = flags;
        snprintf(e->shown, sizeof e->shown, flags >> bit & 1 ? "true" : "false");
    }
}

static void add_all(void) {
    static const char *const orders[] = {"ABCD", "CDAB", "BADC", "DCBA"};
    for (int i = 0; i < 4; i++) {
        add_integers(orders[i]);
        add_doubles(orders[i]);
        add_bcd(orders[i]);
        add_flags(orders[i]);
    }
    add_singles(modbus_set_float_abcd);
    add_singles(modbus_set_float_cdab);
    add_singles(modbus_set_float_badc);
    add_singles(modbus_set_float_dcba);
}

static void tell(int unit, int function, int address, const struct entry *e) {
    static const char *between = "";
    printf("%s{\"unit\":%d,\"function\":%d,\"address\":%d,", between, unit, function, address);
    printf("\"data\":\"%s\",\"order\":\"%s\",", e->data, e->order);
    if (e->bit < 0) printf("\"bit\":null,");
    else printf("\"bit\":%d,", e->bit);
    printf("\"shown\":%s}", e->shown);
    between = ",";
}

static void tell_bits(int unit, int function, int first, int count, uint8_t *bits) {
    for (int i = 0; i < count; i++) {
        bits[i] = (i * i + i + unit * function) % 7 < 3; /* looks like none of its neighbours shifted */
        struct entry e = {.data = "Bool", .order = "ABCD", .bit = -1};
        snprintf(e.shown, sizeof e.shown, bits[i] ? "true" : "false");
        tell(unit, function, first + i, &e);
    }
}

/* All entries from number `from` on, round to it again. */
static void tell_registers(int unit, int function, int first, int from, uint16_t *registers) {
    int at = 0;
    for (int i = 0; i < entry_count; i++) {
        const struct entry *e = &entries[(from + i) % entry_count];
        if (e->words == 0) {
            tell(unit, function, first + at - 1, e);
            continue;
        }
        tell(unit, function, first + at, e);
        memcpy(registers + at, e->word, sizeof(uint16_t) * e->words);
        at += e->words;
    }
}

/* A unit's tables: each its own values at the same addresses, and functions 3 and 4 apart. */
static modbus_mapping_t *tables_of(int unit) {
    int words = 0;
    for (int i = 0; i < entry_count; i++) words += entries[i].words;
    int first_read = 0x10000 - words; /* the last one stands at the highest address there is */
    modbus_mapping_t *map = modbus_mapping_new_start_address(FIRST_COIL, COILS, FIRST_INPUT_BIT, INPUT_BITS,
                                                             FIRST_HOLDING, words, first_read, words);
    if (!map) die("tables");
    /* Not between two bits of one register. */
    int from = unit % entry_count, from_read = entry_count - 1 - from;
    while (entries[from].words == 0) from++;
    while (entries[from_read].words == 0) from_read--;
    tell_bits(unit, 1, FIRST_COIL, COILS, map->tab_bits);
    tell_bits(unit, 2, FIRST_INPUT_BIT, INPUT_BITS, map->tab_input_bits);
    tell_registers(unit, 3, FIRST_HOLDING, from, map->tab_registers);
    tell_registers(unit, 4, first_read, from_read, map->tab_input_registers);
    return map;
}

/* --- Who was asked for which function, whatever became of it --- */

static uint8_t asked[ASKED_MOST][2];
static int asked_count, left;
static pthread_mutex_t asked_lock = PTHREAD_MUTEX_INITIALIZER;

static void note(uint8_t unit, uint8_t function) {
    pthread_mutex_lock(&asked_lock);
    if (asked_count == ASKED_MOST) die("asked more often than there is room for");
    asked[asked_count][0] = unit;
    asked[asked_count++][1] = function;
    pthread_mutex_unlock(&asked_lock);
}

/* RTU: unit, function, address, count, CRC: every reading request is of 8 bytes. */
static void note_rtu(const uint8_t *bytes, int count) {
    static uint8_t head[2];
    for (int i = 0; i < count; i++) {
        if (left < 2) head[left] = bytes[i];
        if (++left == 8) {
            note(head[0], head[1]);
            left = 0;
        }
    }
}

static void report(void) {
    pthread_mutex_lock(&asked_lock);
    printf("{\"asked\":[");
    for (int i = 0; i < asked_count; i++) printf("%s[%d,%d]", i ? "," : "", asked[i][0], asked[i][1]);
    printf("],\"left\":%d}\n", left);
    fflush(stdout);
}

/* --- Serving --- */

static modbus_mapping_t *tables[UNITS];
static int listener;

static void *serve_tcp(void *modbus) {
    for (;;) {
        if (modbus_tcp_accept(modbus, &listener) < 0) die("accept");
        uint8_t request[MODBUS_TCP_MAX_ADU_LENGTH];
        int length;
        while ((length = modbus_receive(modbus, request)) >= 0) {
            note(request[6], request[7]); /* MBAP: transaction, protocol, length, unit; then the function */
            for (int i = 0; i < UNITS; i++)
                if (UNIT[i] == request[6]) modbus_reply(modbus, request, length, tables[i]);
        }
        modbus_close(modbus);
    }
    return NULL;
}

/* A libmodbus RTU server answers for one unit. Several on a line are several servers, each of which hears every byte
 * that the others hear or say: here a thread each, at the ends of a bus. */
static struct pollfd bus[1 + UNITS]; /* the line, then the units */
static modbus_t *on_bus[UNITS];

static void *serve_unit(void *index) {
    int i = (int)(intptr_t)index;
    uint8_t request[MODBUS_RTU_MAX_ADU_LENGTH];
    for (;;) {
        int length = modbus_receive(on_bus[i], request); /* 0: for another unit; -1: no sound frame */
        if (length > 0) modbus_reply(on_bus[i], request, length, tables[i]);
    }
    return NULL;
}

/* Every byte to everybody else, until the line ends. */
static void carry(int line) {
    bus[0].fd = line;
    for (;;) {
        if (poll(bus, 1 + UNITS, -1) < 0) die("poll");
        for (int from = 0; from < 1 + UNITS; from++) {
            if (!bus[from].revents) continue;
            uint8_t bytes[512];
            ssize_t count = read(bus[from].fd, bytes, sizeof bytes);
            if (count <= 0) return;
            if (from == 0) note_rtu(bytes, (int)count);
            for (int to = 0; to < 1 + UNITS; to++)
                if (to != from && write(bus[to].fd, bytes, count) != count) return;
        }
    }
}

static void *serve_line(void *modbus) {
    carry(modbus_get_socket(modbus));
    die("the line ended");
    return NULL;
}

static void *serve_rtu_over_tcp(void *unused) {
    for (;;) {
        int line = accept(listener, NULL, NULL);
        if (line < 0) die("accept");
        carry(line);
        close(line);
    }
    return unused;
}

static void start(void *(*serve)(void *), void *argument) {
    pthread_t thread;
    if (pthread_create(&thread, NULL, serve, argument) != 0) die("thread");
}

static void start_units(void) {
    for (int i = 0; i < UNITS; i++) {
        int ends[2];
        if (socketpair(AF_UNIX, SOCK_STREAM, 0, ends) < 0) die("socketpair");
        on_bus[i] = modbus_new_rtu("(the bus)", 19200, 'N', 8, 2); /* never opened: it gets its end of the bus */
        if (!on_bus[i] || modbus_set_slave(on_bus[i], UNIT[i]) < 0) die("unit");
        modbus_set_socket(on_bus[i], ends[0]);
        bus[1 + i].fd = ends[1];
        start(serve_unit, (void *)(intptr_t)i);
    }
    for (int i = 0; i < 1 + UNITS; i++) bus[i].events = POLLIN;
}

/* A port that the system picks. */
static int listen_tcp(modbus_t *modbus) {
    struct sockaddr_in address;
    socklen_t length = sizeof address;
    listener = modbus_tcp_listen(modbus, 1);
    if (listener < 0 || getsockname(listener, (struct sockaddr *)&address, &length) < 0) die("listen");
    return ntohs(address.sin_port);
}

int main(int argc, char **argv) {
    int is_serial = argc == 3 && strcmp(argv[1], "serial") == 0;
    int is_tcp = argc == 2 && strcmp(argv[1], "tcp") == 0;
    int is_rtu_over_tcp = argc == 2 && strcmp(argv[1], "rtu-over-tcp") == 0;
    if (!is_serial && !is_tcp && !is_rtu_over_tcp) die("tcp, rtu-over-tcp or serial PATH");
    add_all();
    modbus_t *modbus = is_serial ? modbus_new_rtu(argv[2], 19200, 'N', 8, 2) : modbus_new_tcp("127.0.0.1", 0);
    if (!modbus) die("libmodbus");
    if (is_serial && modbus_connect(modbus) < 0) die(argv[2]);
    if (is_serial) printf("{\"port\":null,\"values\":[");
    else printf("{\"port\":%d,\"values\":[", listen_tcp(modbus));
    for (int i = 0; i < UNITS; i++) tables[i] = tables_of(UNIT[i]);
    printf("]}\n");
    fflush(stdout);
    if (!is_tcp) start_units();
    start(is_tcp ? serve_tcp : is_serial ? serve_line : serve_rtu_over_tcp, modbus);
    while (getchar() != EOF) {}
    report();
    _exit(0);
}
