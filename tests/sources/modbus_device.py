"""A transmitter that answers on Modbus."""

from pymodbus.simulator import DataType, SimData, SimDevice


def device(unit, values, datatype=DataType.INT32, address=100, action=None):
    return SimDevice(id=unit, simdata=[SimData(address, values=values, datatype=datatype)], action=action)
