//! Text as a table of currents. The first byte says whether the rate is given and to which column the text
//! begins.
#![no_main]

use libfuzzer_sys::fuzz_target;
use recording::OpenOptions;
use recording_fuzz::piped;

const HEADS: [&str; 6] = [
    "",
    "t,a\n0,1\n",
    "1;2\n",
    "time_s,current_ma\n",
    "0,5\t1\n",
    "# scope\n",
];

fuzz_target!(|bytes: &[u8]| {
    let Some((choice, text)) = bytes.split_first() else {
        return;
    };
    let head = HEADS[usize::from(choice >> 1) % HEADS.len()];
    let options = OpenOptions {
        csv_rate_hz: (choice & 1 == 1).then_some(8_000.0),
        ..OpenOptions::default()
    };
    let table = [head.as_bytes(), text].concat();
    let whole = piped(&table, usize::MAX, &options);
    assert!(whole == piped(&table, 1 + usize::from(choice >> 5), &options));
});
