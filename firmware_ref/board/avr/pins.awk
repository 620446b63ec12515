# pins.csv into lists that the port's macros go through: X(number, port, bit), or X(port, bit) where there is one.
BEGIN { FS = ","; print "/* Made from pins.csv. */" }
NR == 1 { next }
{ port = substr($3, 2, 1); bit = substr($3, 3, 1) }
$2 == "signal" { signals = signals " X(" (n_signals++ + 0) ", " substr($3, 4) ")" }
$2 == "bias" { biases = biases " X(" (n_biases++ + 0) ", " port ", " bit ")" }
$1 ~ /^trouble\./ { troubles = troubles " X(" (n_troubles++ + 0) ", " port ", " bit ")" }
$1 == "bus" && $2 == "direction" { print "#define BUS_DIRECTION_PIN(X) X(" port ", " bit ")" }
$1 == "supply" { print "#define SUPPLY_PIN(X) X(" port ", " bit ")" }
$1 == "button" { print "#define BUTTON_PIN(X) X(" port ", " bit ")" }
$1 == "light" { print "#define LIGHT_PIN(X) X(" port ", " bit ")" }
$1 ~ /^alarm\./ { alarms = alarms " X(" (n_alarms++ + 0) ", " port ", " bit ")" }
$1 ~ /^call\./ { calls = calls " X(" (n_calls++ + 0) ", " port ", " bit ")" }
$1 ~ /^out\./ { relays = relays " X(" (n_relays++ + 0) ", " port ", " bit ")" }
END {
    print "#define CALL_PINS(X)" calls; print "#define RELAY_PINS(X)" relays
    print "#define SENSOR_CHANNELS(X)" signals; print "#define BIAS_PINS(X)" biases; print "#define TROUBLE_PINS(X)" troubles
    print "#define ALARM_PINS(X)" alarms
}
