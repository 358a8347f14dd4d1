/* A bench whose map is not ours, on the library libmodbus, as an independent peer for tests:
 * two pots, on one device. All figures are invented.
 *
 * Usage: foreign PORT BAUD. Unit 21. Only these addresses exist; a request that touches any
 * other is refused (exception 02):
 *   input registers 200 and 203: the melts, 20.7 and 168.4 degrees Celsius, times ten;
 *     206: the room, 12.5 degrees below zero, times ten, in two's complement;
 *     210 and 211, 214 and 215: the plates, 61.37 and 204.83 degrees Celsius, in 32-bit
 *     floating point (IEEE 754), the word with the low bits first;
 *   coils 32 and 33: the heaters; 35: the contactor;
 *   discrete inputs 64, 66 and 67: emergency stop and cut-out, closed, the enable button, open;
 *   holding register 300: bit 5 is the fan's contact, closed; bits 0, 7 and 12 are set as well.
 * One second after the last write to a coil all coils are dropped. What happens to the coils
 * is told on the standard output, a line each: "coil N 0 told", or 1, or "silence" at the end.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <modbus.h>

enum { SILENCE_MS = 1000, TABLES = 5 };

/* The addresses that exist, by the function that reads them: from, to, from, to. */
static const int places[TABLES][11] = {
    [1] = {32, 33, 35, 35, -1},
    [2] = {64, 64, 66, 67, -1},
    [3] = {300, 300, -1},
    [4] = {200, 200, 203, 203, 206, 206, 210, 211, 214, 215, -1},
};

static int exists(int table, int address)
{
    for (const int *p = places[table]; *p >= 0; p += 2)
        if (address >= p[0] && address <= p[1])
            return 1;
    return 0;
}

static int table_of(int function)
{
    switch (function) {
    case 5: case 15: return 1;
    case 6: case 16: return 3;
    }
    return function;
}

/* Whether all that a request asks for exists. */
static int whole(const uint8_t *request)
{
    int function = request[1], address = request[2] << 8 | request[3];
    int count = function == 5 || function == 6 ? 1 : request[4] << 8 | request[5];
    if (table_of(function) < 1 || table_of(function) >= TABLES)
        return 1; /* the library's to refuse */
    for (int i = 0; i < count; i++)
        if (!exists(table_of(function), address + i))
            return 0;
    return 1;
}

static long milliseconds(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return now.tv_sec * 1000 + now.tv_nsec / 1000000;
}

static void low_word_first(uint16_t *registers, float celsius)
{
    uint32_t bits;
    memcpy(&bits, &celsius, sizeof bits);
    registers[0] = bits & 0xFFFF;
    registers[1] = bits >> 16;
}

static void tell(const uint8_t *before, const uint8_t *now, const char *why)
{
    for (int i = 0; i < 4; i++)
        if (before[i] != now[i])
            printf("coil %d %d %s\n", 32 + i, now[i], why);
    fflush(stdout);
}

int main(int argc, char **argv)
{
    if (argc != 3)
        return 2;
    modbus_t *line = modbus_new_rtu(argv[1], atoi(argv[2]), 'E', 8, 1);
    modbus_mapping_t *map = modbus_mapping_new_start_address(32, 4, 64, 4, 300, 1, 200, 16);
    if (line == NULL || map == NULL)
        return 2;
    map->tab_input_bits[0] = map->tab_input_bits[2] = 1;
    map->tab_registers[0] = 1 << 0 | 1 << 5 | 1 << 7 | 1 << 12;
    map->tab_input_registers[0] = 207;
    map->tab_input_registers[3] = 1684;
    map->tab_input_registers[6] = (uint16_t)-125;
    low_word_first(map->tab_input_registers + 10, 61.37f);
    low_word_first(map->tab_input_registers + 14, 204.83f);
    modbus_set_slave(line, 21);
    modbus_set_indication_timeout(line, 0, 20000);
    if (modbus_connect(line) != 0) {
        perror("connect");
        return 1;
    }
    for (long written = milliseconds();;) {
        uint8_t request[MODBUS_RTU_MAX_ADU_LENGTH], before[4];
        int length = modbus_receive(line, request);
        memcpy(before, map->tab_bits, sizeof before);
        if (milliseconds() - written > SILENCE_MS) {
            memset(map->tab_bits, 0, sizeof before);
            tell(before, map->tab_bits, "silence");
            memcpy(before, map->tab_bits, sizeof before);
        }
        if (length <= 0)
            continue;
        if (!whole(request)) {
            modbus_reply_exception(line, request, MODBUS_EXCEPTION_ILLEGAL_DATA_ADDRESS);
            continue;
        }
        if (table_of(request[1]) == 1 && request[1] != 1)
            written = milliseconds();
        modbus_reply(line, request, length, map);
        tell(before, map->tab_bits, "told");
    }
}
