//! A sound server for machines without a sound card: PulseAudio with one null sink, whose monitor is the only input.

use std::fs;
use std::os::unix::fs::DirBuilderExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::thread::sleep;
use std::time::{Duration, Instant};

/// Samples a second, of 16 bits and one channel.
pub(crate) const RATE: usize = 48_000;
/// Its only input.
pub(crate) const INPUT: &str = "bench.monitor";
/// It starts within so long, or not at all.
const PATIENCE: Duration = Duration::from_secs(20);

/// A server of one's own. It ends with this.
pub(crate) struct SoundServer {
    folder: PathBuf,
    child: Option<Child>,
}

impl SoundServer {
    /// A server that keeps what it needs in `folder`; not started.
    pub(crate) fn new(folder: &Path) -> SoundServer {
        // Only its owner may enter, or the server does not.
        fs::DirBuilder::new()
            .mode(0o700)
            .create(folder.join("run"))
            .unwrap();
        SoundServer {
            folder: folder.to_owned(),
            child: None,
        }
    }

    /// A program that finds this server and no other, and no configuration but that in the folder.
    pub(crate) fn program(&self, program: &str, arguments: &[&str]) -> Command {
        let mut command = Command::new(program);
        command
            .args(arguments)
            .current_dir(&self.folder)
            .env_remove("PULSE_SERVER")
            .env_remove("ALSA_CONFIG_PATH")
            .env("XDG_RUNTIME_DIR", self.folder.join("run"))
            .env("HOME", &self.folder)
            .env("XDG_CONFIG_HOME", self.folder.join("config"));
        command
    }

    /// Starts it, and waits until its input is there.
    pub(crate) fn start(&mut self) {
        self.start_at(RATE);
    }

    /// The same with another rate, in samples a second.
    pub(crate) fn start_at(&mut self, rate: usize) {
        let script = format!(
            "load-module module-native-protocol-unix\n\
             load-module module-null-sink sink_name=bench rate={rate} channels=1 format=s16le\n"
        );
        fs::write(self.folder.join("server.pa"), script).unwrap();
        let settings = self.folder.join(".config/pulse");
        fs::create_dir_all(&settings).unwrap();
        let setting = format!("default-sample-rate = {rate}\n");
        fs::write(settings.join("daemon.conf"), setting).unwrap();
        let mut command = self.program(
            "pulseaudio",
            &[
                "-n",
                "-F",
                "server.pa",
                "--daemonize=no",
                "--use-pid-file=no",
                "--exit-idle-time=-1",
                "--disallow-exit",
                "--log-level=error",
            ],
        );
        let child = command
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("pulseaudio is not installed: run `cargo xtask test`");
        self.child = Some(child);
        let began = Instant::now();
        while !self.inputs().contains(INPUT) {
            assert!(began.elapsed() < PATIENCE, "no server");
            sleep(Duration::from_millis(100));
        }
    }

    /// Makes the monitor a microphone, as which a browser takes no monitor, and gives what plays beside it an output of its own.
    #[allow(dead_code, reason = "not every program asks a browser")]
    pub(crate) fn add_microphone(&self) {
        let other = format!("sink_name=other rate={RATE} channels=2 format=s16le");
        for command in [
            format!("load-module module-null-sink {other}"),
            format!("load-module module-remap-source master={INPUT} source_name=probe"),
            "set-default-sink other".to_owned(),
            "set-default-source probe".to_owned(),
        ] {
            let words: Vec<&str> = command.split(' ').collect();
            let done = self.program("pactl", &words).output().unwrap();
            assert!(done.status.success(), "{command}: {done:?}");
        }
    }

    fn inputs(&self) -> String {
        let listed = self
            .program("pactl", &["list", "short", "sources"])
            .output()
            .unwrap();
        String::from_utf8_lossy(&listed.stdout).into_owned()
    }

    /// What plays 16-bit samples from a file in the folder into the sink.
    pub(crate) fn player(&self, raw: &str) -> Command {
        // A long buffer, filled at once: a busy machine is no reason for silence in between.
        self.program(
            "pacat",
            &[
                "--device=bench",
                &format!("--rate={RATE}"),
                "--channels=1",
                "--format=s16le",
                "--latency-msec=2000",
                raw,
            ],
        )
    }

    pub(crate) fn stop(&mut self) {
        if let Some(mut child) = self.child.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
        let _ = fs::remove_dir_all(self.folder.join("run/pulse"));
    }
}

impl Drop for SoundServer {
    fn drop(&mut self) {
        self.stop();
    }
}
