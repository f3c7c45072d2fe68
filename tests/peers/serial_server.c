/* A Modbus RTU server on a serial device, by libmodbus: units 1 to 8, whose holding register at each address holds a value that
 * follows from unit and address. Says "serving" and serves until it is killed. */

#include <modbus/modbus.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

#define UNITS 8
#define REGISTERS 100
/* Unit, function, address, count, check sum. */
#define READ_REQUEST 8

static void fill(modbus_mapping_t *table, int unit)
{
    for (int address = 0; address < REGISTERS; address++)
        table->tab_registers[address] = (uint16_t)(address * 31 + unit * 1009);
}

int main(int count, char **arguments)
{
    modbus_t *line = count == 2 ? modbus_new_rtu(arguments[1], 19200, 'E', 8, 1) : NULL;
    modbus_mapping_t *table = modbus_mapping_new(0, 0, REGISTERS, 0);
    if (!line || !table)
        return EXIT_FAILURE;
    modbus_set_slave(line, 1);
    if (modbus_connect(line) != 0)
        return EXIT_FAILURE;
    puts("serving");
    fflush(stdout);
    for (;;) {
        uint8_t request[MODBUS_RTU_MAX_ADU_LENGTH];
        int length = modbus_receive(line, request);
        /* 0 stands for a whole request to another unit than the one that was set; each here is a request to read. */
        if (length == 0)
            length = READ_REQUEST;
        if (length > 0 && request[0] >= 1 && request[0] <= UNITS) {
            modbus_set_slave(line, request[0]);
            fill(table, request[0]);
            modbus_reply(line, request, length, table);
        }
    }
}
