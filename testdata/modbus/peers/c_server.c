/* A Modbus RTU server on the library libmodbus, as an independent peer for tests.
 *
 * Usage: c_server PORT BAUD. Unit 17; holding register n holds n, input register
 * n holds 1000 + n, every third coil and every second input is on; addresses 0 to
 * 199 exist.
 */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <modbus.h>

int main(int argc, char **argv)
{
    if (argc != 3)
        return 2;
    modbus_t *line = modbus_new_rtu(argv[1], atoi(argv[2]), 'E', 8, 1);
    modbus_mapping_t *map = modbus_mapping_new(200, 200, 200, 200);
    if (line == NULL || map == NULL)
        return 2;
    for (int n = 0; n < 200; n++) {
        map->tab_bits[n] = n % 3 == 0;
        map->tab_input_bits[n] = n % 2 == 0;
        map->tab_registers[n] = n;
        map->tab_input_registers[n] = 1000 + n;
    }
    modbus_set_slave(line, 17);
    if (modbus_connect(line) != 0) {
        perror("connect");
        return 1;
    }
    for (;;) {
        uint8_t request[MODBUS_RTU_MAX_ADU_LENGTH];
        int length = modbus_receive(line, request);
        if (length > 0)
            modbus_reply(line, request, length, map);
    }
}
