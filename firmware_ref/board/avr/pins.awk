# pins.csv into lists that the port's macros go through: X(number, port, bit), or X(port, bit) where there is one.
BEGIN { FS = ","; print "/* Made from pins.csv. */" }
NR == 1 { next }
{ port = substr($3, 2, 1); bit = substr($3, 3, 1) }
$2 == "signal" { print "#define SENSOR_CHANNEL " substr($3, 4) }
$2 == "bias" { print "#define BIAS_PIN(X) X(" port ", " bit ")" }
$1 == "supply" { print "#define SUPPLY_PIN(X) X(" port ", " bit ")" }
$1 == "button" { print "#define BUTTON_PIN(X) X(" port ", " bit ")" }
$1 == "light" { print "#define LIGHT_PIN(X) X(" port ", " bit ")" }
$1 == "alarm.no" { print "#define ALARM_PIN(X) X(" port ", " bit ")" }
$1 ~ /^call\./ { calls = calls " X(" (n_calls++ + 0) ", " port ", " bit ")" }
$1 ~ /^out\./ { relays = relays " X(" (n_relays++ + 0) ", " port ", " bit ")" }
END { print "#define CALL_PINS(X)" calls; print "#define RELAY_PINS(X)" relays }
