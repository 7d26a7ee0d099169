//! Pictures and the pages about metal: that widths are true, that what is small or wrong is seen, that bars open what they count.

mod look;
