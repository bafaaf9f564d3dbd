use halfsplit::*;
use std::time::Instant;
fn main(){
 for _ in 0..3 {
 let t=Instant::now(); let l=rulebase::Rules::default().load(); println!("load {:?} problems {}",t.elapsed(), l.problems.len());
 let u=model::Unit{kind:"phone".into(),..Default::default()};
 let t=Instant::now(); let m=model::compile(&l.rulebase,&u,&[],None).unwrap(); println!("compile {:?} faults {} tests {}",t.elapsed(), m.faults.len(), m.tests.len());
 let f=job::CaseFile{device:u.clone(),complaint:"rear camera black picture".into(),..Default::default()};
 let t=Instant::now(); let c=job::Case::new(&l.rulebase,&f,job::Settings::default()).unwrap(); println!("case {:?} faults {}",t.elapsed(), c.model.faults.len());
 let t=Instant::now(); let b=belief::update(&c.model.network,&[],Default::default()); println!("update {:?} k{}",t.elapsed(), b.size);
 let t=Instant::now(); c.advice(3); println!("advice {:?} cands {}",t.elapsed(), c.belief.candidates.len());
 let t=Instant::now(); job::view::state(&c,&[],3); println!("view {:?}",t.elapsed());
 }
}
