//! What a sound file says of itself: proposals for title and credit.

use crate::outside::{folder, root, takebook, tool};

/// Reference: ffmpeg writes the tags (ID3, Vorbis comments, MP4).
#[test]
fn title_and_composer_come_from_the_tags_until_the_user_gives_others() {
    let (_keep, dir) = folder();
    for name in ["take.mp3", "take.flac", "take.m4a", "take.ogg"] {
        let take = dir.join(name);
        let made = tool("ffmpeg")
            .args(["-v", "error", "-t", "4", "-i", "fixtures/lantern-porch.wav"])
            .args([
                "-metadata",
                "title=Evening Ferry",
                "-metadata",
                "composer=A. Nobody",
            ])
            .arg(&take)
            .current_dir(root())
            .status()
            .expect("ffmpeg runs");
        assert!(made.success(), "{name}");
        let log = dir.join(format!("{name}.takebook"));
        let log = log.to_str().expect("a text path");
        let ran = |args: &[&str]| {
            let output = takebook().args(args).output().expect("takebook starts");
            assert!(output.status.success(), "{args:?}: {output:?}");
            String::from_utf8_lossy(&output.stdout).into_owned()
        };
        let song = || {
            let shown = ran(&["show", log, "--json"]);
            let song: serde_json::Value = serde_json::from_str(&shown).expect("JSON");
            (song["title"].clone(), song["credit"].clone())
        };
        ran(&["draft", take.to_str().expect("a text path"), "-o", log]);
        let expected = ("Evening Ferry".into(), "A. Nobody".into());
        assert_eq!(song(), expected, "{name}");
        ran(&["confirm", log, "--title", "Own Words", "--credit", ""]);
        assert_eq!(
            song(),
            ("Own Words".into(), serde_json::Value::Null),
            "{name}"
        );
    }
}
