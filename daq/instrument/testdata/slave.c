/* A Modbus RTU slave by libmodbus, for the tests of the master.
 *
 * Usage: slave DEVICE BAUD ADDRESS. Registers n of both register tables hold
 * 100 + n and 200 + n; discrete input n is on where n is odd, coil n where
 * n % 3 == 0. The float 123.456 (IEEE 754: 42 F6 E9 79) stands in four orders
 * at input registers 40 (ABCD), 42 (DCBA), 44 (BADC) and 46 (CDAB). It is
 * written as words: the float helpers of libmodbus 3.1.6 swap the bytes of each
 * register on a little-endian machine.
 */
#include <modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

int main(int argc, char **argv)
{
    if (argc != 4)
        return 2;
    modbus_t *bus = modbus_new_rtu(argv[1], atoi(argv[2]), 'N', 8, 1);
    if (bus == NULL || modbus_set_slave(bus, atoi(argv[3])) != 0 || modbus_connect(bus) != 0) {
        perror("slave");
        return 1;
    }
    modbus_mapping_t *map = modbus_mapping_new(64, 64, 64, 64);
    if (map == NULL)
        return 1;
    for (int i = 0; i < 64; i++) {
        map->tab_input_registers[i] = 100 + i;
        map->tab_registers[i] = 200 + i;
        map->tab_input_bits[i] = i % 2;
        map->tab_bits[i] = i % 3 == 0;
    }
    static const uint16_t floats[] = {0x42F6, 0xE979, 0x79E9, 0xF642, 0xF642, 0x79E9, 0xE979, 0x42F6};
    for (int i = 0; i < 8; i++)
        map->tab_input_registers[40 + i] = floats[i];
    for (;;) {
        uint8_t query[MODBUS_RTU_MAX_ADU_LENGTH];
        int n = modbus_receive(bus, query);
        if (n > 0)
            modbus_reply(bus, query, n, map);
    }
}
