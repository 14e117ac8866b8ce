//! One recording of a family, to look at it.

use synth::families;

/// Which recording to write.
#[derive(clap::Args)]
pub(crate) struct DrawOptions {
    /// Family, or `mixed`
    family: String,
    /// Index within the family
    index: u64,
    /// WAV file to write; the truth goes beside it
    output: std::path::PathBuf,
}

/// Writes one recording of a family, to look at it.
pub(crate) fn draw(options: &DrawOptions) -> anyhow::Result<()> {
    let scenario = match families::singles()
        .iter()
        .chain(families::nothing())
        .find(|f| f.name == options.family)
    {
        Some(family) => families::draw(family, options.index),
        None if options.family == "mixed" => families::mixed(options.index),
        None => anyhow::bail!("no family is called {}", options.family),
    };
    let rendered = synth::render(&scenario);
    synth::write_wav(&rendered, rendered.encoding, &options.output)?;
    synth::write_truth(&rendered, &options.output)?;
    println!("{}", serde_json::to_string_pretty(&scenario)?);
    Ok(())
}
